"""Weekly spans and closures on the line of real time, as sorted arrays of microseconds."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt

from crib.arrays import Bools, Ints
from crib.clock import us_from_instant
from crib.errors import Invalid
from crib.floor.closures import Closure
from crib.floor.week import WEEKDAYS, WeekSpan
from crib.sentence import sentence

#: Farthest that anything is looked ahead.
HORIZON = timedelta(days=366)

#: How far back a stretch in progress is followed to its start.
LOOK_BACK = timedelta(days=32)

#: Years that a calendar is read in; beyond them date arithmetic would run over.
_FIRST_YEAR, _LAST_YEAR = 1900, 2900

_US = 1_000_000


class Hours(NamedTuple):
    """What one calendar says: its week, the zone of its clock, the exceptions to it."""

    spans: tuple[WeekSpan, ...]
    zone: str
    closures: tuple[Closure, ...] = ()


class Timeline(NamedTuple):
    """Disjoint running stretches in order [µs since 1970], and running time before each."""

    start: Ints
    end: Ints
    attended: Bools
    before: Ints

    def only_attended(self) -> Timeline:
        """The stretches in which somebody is there."""
        return timeline(self.start[self.attended], self.end[self.attended])

    def running_until(self, at_us: int) -> int:
        """Running time from the timeline's start to an instant [µs]."""
        index = int(np.searchsorted(self.start, at_us, side="right")) - 1
        if index < 0:
            return 0
        return int(self.before[index] + min(at_us, int(self.end[index])) - self.start[index])

    def running_by(self, at_us: Ints) -> Ints:
        """``running_until`` of many instants at once [µs]."""
        if not self.start.size:
            return np.zeros(at_us.shape, dtype=np.int64)
        index = np.searchsorted(self.start, at_us, side="right") - 1
        held = np.maximum(index, 0)
        reached = self.before[held] + np.minimum(at_us, self.end[held]) - self.start[held]
        return np.where(index < 0, 0, reached)


def timeline(
    start: Ints,
    end: Ints,
    attended: Bools | None = None,
) -> Timeline:
    """A timeline from disjoint stretches in order [µs since 1970]."""
    length = end - start
    mark = np.ones(start.size, dtype=np.bool_) if attended is None else attended
    return Timeline(start, end, mark, np.cumsum(length) - length)


def zone_of(name: str) -> ZoneInfo:
    """The IANA zone of a name.

    Raises:
        Invalid: There is none of that name.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as problem:
        raise Invalid(
            sentence("'{name}' is not a time zone: write it like Europe/Paris.", name=name[:40])
        ) from problem


def us_of(at: datetime) -> int:
    """An aware instant as whole microseconds since 1970.

    Raises:
        Invalid: A naive instant, or a year that is not plausible.
    """
    if at.tzinfo is None:
        raise Invalid(sentence("An instant without an offset is a guess: give it a time zone."))
    if not _FIRST_YEAR <= at.year <= _LAST_YEAR:
        raise Invalid(sentence("The year {year} is not plausible.", year=at.year))
    return us_from_instant(at)


def window(at: datetime) -> tuple[date, int]:
    """First day and number of days of the cached block that serves an instant."""
    day = at.astimezone(UTC).date()
    first = day.replace(day=1) - LOOK_BACK
    return first, LOOK_BACK.days + 31 + HORIZON.days + 9


def instant_of(wall: datetime, zone: ZoneInfo) -> int:
    """The instant of a wall time (naive) [µs since 1970].

    One that the clocks skip is read as if they had not been put forward yet (02:30 becomes
    03:30); one that comes twice is the first of the two.
    """
    return us_of(wall.replace(tzinfo=zone))


def closures_in(hours: Hours) -> list[tuple[int, int, Closure]]:
    """The closures of a calendar as UTC [µs], in order; those that the clocks skip left out."""
    zone = zone_of(hours.zone)
    found = [
        (instant_of(closure.start, zone), instant_of(closure.end, zone), closure)
        for closure in hours.closures
    ]
    return sorted((one for one in found if one[1] > one[0]), key=lambda one: one[:2])


@lru_cache(maxsize=256)
def spans_in(calendars: tuple[Hours, ...], first: date, days: int) -> tuple[Ints, Ints, Bools]:
    """Every span that starts in the block, cut where closed, as UTC [µs], ordered by start.

    Args:
        calendars: Calendars whose hours all count.
        first: First day of the block.
        days: Its length.
    """
    rows: list[tuple[int, int, bool]] = []
    for hours in calendars:
        exceptions = closures_in(hours)
        closed = _union([one[:2] for one in exceptions if not one[2].opens])
        week = _week_rows(hours, first, days)
        rows += [piece for row in week for piece in _without(row, closed)]
        begin = us_of(datetime.combine(first, datetime.min.time(), UTC))
        end = begin + days * 86_400 * _US
        rows += [
            (start_us, end_us, closure.attended)
            for start_us, end_us, closure in exceptions
            if closure.opens and start_us < end and end_us > begin
        ]
    rows.sort()
    return (
        np.array([row[0] for row in rows], dtype=np.int64),
        np.array([row[1] for row in rows], dtype=np.int64),
        np.array([row[2] for row in rows], dtype=np.bool_),
    )


def _week_rows(hours: Hours, first: date, days: int) -> list[tuple[int, int, bool]]:
    """The week's own spans that start in a block of days."""
    zone = zone_of(hours.zone)
    by_weekday: list[list[WeekSpan]] = [[] for _ in WEEKDAYS]
    for span in hours.spans:
        by_weekday[span.weekday].append(span)
    rows: list[tuple[int, int, bool]] = []
    for number in range(days):
        day = datetime.combine(first + timedelta(days=number), datetime.min.time())
        for span in by_weekday[day.weekday()]:
            # Wall time: an hour that the clocks skip or repeat changes the length.
            start_us = instant_of(day + timedelta(minutes=span.start_min), zone)
            end_us = instant_of(day + timedelta(minutes=span.end_min), zone)
            if end_us > start_us:
                rows.append((start_us, end_us, span.attended))
    return rows


def _union(intervals: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Intervals in order as disjoint ones."""
    joined: list[tuple[int, int]] = []
    for start, end in intervals:
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def _without(
    row: tuple[int, int, bool], closed: list[tuple[int, int]]
) -> list[tuple[int, int, bool]]:
    """What closed intervals, disjoint and in order, leave of one span."""
    start, end, attended = row
    left: list[tuple[int, int, bool]] = []
    for begins, ends in closed:
        if ends <= start:
            continue
        if begins >= end:
            break
        if begins > start:
            left.append((start, begins, attended))
        start = ends
    if start < end:
        left.append((start, end, attended))
    return left


@lru_cache(maxsize=256)
def merged(calendars: tuple[Hours, ...], first: date, days: int) -> Timeline:
    """The block as disjoint stretches: overlaps resolved, neighbours of one kind joined."""
    start, end, attended = spans_in(calendars, first, days)
    edges = np.unique(np.concatenate([start, end]))
    if edges.size < 2:
        return timeline(start, end, attended)
    running = _cover(edges, start, end)
    manned = _cover(edges, start[attended], end[attended])
    kind = running.astype(np.int8) + manned
    new = np.flatnonzero(np.diff(kind, prepend=-1))
    ends = np.append(new[1:], kind.size)
    keep = kind[new] > 0
    return timeline(edges[new[keep]], edges[ends[keep]], kind[new[keep]] == 2)


def _cover(edges: Ints, start: Ints, end: Ints) -> Bools:
    """Whether any span covers each gap between neighbouring edges."""
    change = np.zeros(edges.size, dtype=np.int64)
    np.add.at(change, np.searchsorted(edges, start), 1)
    np.add.at(change, np.searchsorted(edges, end), -1)
    return np.asarray(np.cumsum(change)[:-1] > 0)


def advance(
    line: Timeline, start_us: int, seconds: npt.ArrayLike
) -> npt.NDArray[np.datetime64]:
    """The instants after so much time on the line; NaT where not within the horizon.

    Args:
        line: The running stretches.
        start_us: From when on [µs since 1970].
        seconds: Running times [s], any shape, zero or more.

    Raises:
        Invalid: A negative time.
    """
    wanted = np.asarray(seconds, dtype=np.float64)
    if (wanted < 0).any():
        raise Invalid(sentence("Running time cannot be negative."))
    limit_us = start_us + HORIZON // timedelta(microseconds=1)
    out = np.full(wanted.shape, np.datetime64("NaT"), dtype="datetime64[us]")
    if not line.start.size:
        out[wanted == 0] = np.datetime64(start_us, "us")
        return out
    possible = wanted < HORIZON.total_seconds() + 1
    target = line.running_until(start_us) + np.rint(wanted[possible] * _US).astype(np.int64)
    reached = line.before + (line.end - line.start)
    index = np.searchsorted(reached, target, side="left")
    inside = index < line.start.size
    at = np.full(target.shape, np.iinfo(np.int64).max, dtype=np.int64)
    held = index[inside]
    at[inside] = np.maximum(line.start[held] + target[inside] - line.before[held], start_us)
    at = np.where(np.rint(wanted[possible] * _US) == 0, start_us, at)
    found = np.full(target.shape, np.datetime64("NaT"), dtype="datetime64[us]")
    found[at <= limit_us] = at[at <= limit_us].astype("datetime64[us]")
    out[possible] = found
    return out
