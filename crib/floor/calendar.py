"""When a machine runs and who is there: week, closures, extra shifts; instants in UTC."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt

from crib.arrays import Floats, Ints
from crib.clock import instant_from_us
from crib.errors import Invalid
from crib.floor.closures import Closure
from crib.floor.timeline import (
    HORIZON,
    Hours,
    Timeline,
    advance,
    closures_in,
    merged,
    spans_in,
    us_of,
    window,
    zone_of,
)
from crib.floor.week import (
    DAY_MIN,
    WEEKDAYS,
    WeekSpan,
    parse_clock,
    print_clock,
    spans_from_rows,
    week_span,
)
from crib.sentence import sentence

__all__ = [
    "ALWAYS",
    "DAY_MIN",
    "HORIZON",
    "WEEKDAYS",
    "Closure",
    "ExceptionAhead",
    "Stretch",
    "WeekSpan",
    "WorkCalendar",
    "attended_together",
    "parse_clock",
    "print_clock",
    "spans_from_rows",
    "week_span",
]

_US = 1_000_000


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of time that is attended or unattended as a whole [UTC]."""

    start_at: datetime
    end_at: datetime
    attended: bool


@dataclass(frozen=True, slots=True)
class ExceptionAhead:
    """A closed time or an extra shift, as it lies on the line of real time [UTC]."""

    start_at: datetime
    end_at: datetime
    opens: bool
    attended: bool
    reason: str | None


@dataclass(frozen=True, slots=True)
class WorkCalendar:
    """A machine's running hours: weekly spans read in one IANA zone, and exceptions to them.

    Where spans overlap, a person counts as there if any span says so. A machine without any
    span never runs. A closed time takes the week's hours away; an extra shift is open
    whatever else is said.

    Args:
        spans: The week.
        zone: IANA zone of its clock.
        closures: Closed times and extra shifts.
        beside: Further calendars whose hours count too.
    """

    spans: tuple[WeekSpan, ...]
    zone: str = "UTC"
    closures: tuple[Closure, ...] = ()
    beside: tuple[WorkCalendar, ...] = ()

    def __post_init__(self) -> None:
        zone_of(self.zone)

    @property
    def hours(self) -> tuple[Hours, ...]:
        """What each of its calendars says."""
        own = Hours(self.spans, self.zone, self.closures)
        return (own, *(hours for other in self.beside for hours in other.hours))

    def exceptions(self, start_at: datetime, end_at: datetime) -> list[ExceptionAhead]:
        """Closed times and extra shifts that touch a time span, whole, in order."""
        first, last = us_of(start_at), us_of(end_at)
        return [
            ExceptionAhead(
                instant_from_us(start),
                instant_from_us(end),
                one.opens,
                one.attended,
                one.reason,
            )
            for hours in self.hours
            for start, end, one in closures_in(hours)
            if start < last and end > first
        ]

    def stretches(self, start_at: datetime, end_at: datetime) -> list[Stretch]:
        """Running stretches between two instants, cut at both, in order, disjoint.

        Neighbours of one kind are one stretch. Looks at most 366 days ahead.

        Raises:
            Invalid: The end lies before the start, or more than 366 days after it.
        """
        line, first, last = self._between(start_at, end_at)
        begin = int(np.searchsorted(line.end, first, side="right"))
        stop = int(np.searchsorted(line.start, last, side="left"))
        return [
            Stretch(
                instant_from_us(max(int(line.start[i]), first)),
                instant_from_us(min(int(line.end[i]), last)),
                bool(line.attended[i]),
            )
            for i in range(begin, stop)
        ]

    def running_seconds(self, start_at: datetime, end_at: datetime) -> float:
        """Running time between two instants [s].

        Raises:
            Invalid: The end lies before the start, or more than the horizon after it.
        """
        line, first, last = self._between(start_at, end_at)
        return (line.running_until(last) - line.running_until(first)) / _US

    def attended_seconds(self, start_at: datetime, end_at: datetime) -> float:
        """Attended time between two instants [s].

        Raises:
            Invalid: The end lies before the start, or more than the horizon after it.
        """
        line, first, last = self._between(start_at, end_at)
        line = line.only_attended()
        return (line.running_until(last) - line.running_until(first)) / _US

    def open_between(self, at_us: Ints) -> tuple[Floats, Floats]:
        """Attended and unattended time between neighbouring instants.

        Args:
            at_us: Instants, ascending, within 32 days [µs since 1970], shape (instants,).

        Returns:
            Attended and unattended open time [s], each of shape (instants - 1,).
        """
        if at_us.size < 2:
            return np.zeros(0), np.zeros(0)
        line = self._line(instant_from_us(int(at_us[-1])))
        both = np.diff(line.running_by(at_us)) / _US
        attended = np.diff(line.only_attended().running_by(at_us)) / _US
        return attended, both - attended

    def advance(self, start_at: datetime, seconds: float) -> datetime | None:
        """The instant after so much running time; None where it is not within a year.

        Args:
            start_at: From when on.
            seconds: Running time [s], zero or more.

        Raises:
            Invalid: Negative seconds.
        """
        return _one(self.advance_many(start_at, np.array([seconds], dtype=np.float64)))

    def advance_many(
        self, start_at: datetime, seconds: npt.ArrayLike
    ) -> npt.NDArray[np.datetime64]:
        """``advance`` for many running times at once.

        Args:
            start_at: From when on.
            seconds: Running times [s], any shape; infinite or NaN means never.

        Returns:
            UTC instants, datetime64[us] of the same shape, NaT where not within a year.

        Raises:
            Invalid: Negative seconds.
        """
        return advance(self._line(start_at), us_of(start_at), seconds)

    def current_shift(self, at: datetime) -> Stretch | None:
        """The span in progress as the calendar states it, or the next one.

        Of overlapping spans the attended one, then the one that began last.
        """
        at_us = us_of(at)
        start, end, attended = spans_in(self.hours, *window(at))
        here = np.flatnonzero((start <= at_us) & (at_us < end))
        if here.size:
            best = here[np.lexsort((start[here], attended[here]))[-1]]
        else:
            later = np.flatnonzero(start > at_us)
            if not later.size:
                return None
            best = later[np.lexsort((~attended[later], start[later]))[0]]
        return Stretch(
            instant_from_us(int(start[best])),
            instant_from_us(int(end[best])),
            bool(attended[best]),
        )

    def next_unattended(self, at: datetime) -> Stretch | None:
        """The whole unattended stretch in progress, or the next one; None within a year."""
        at_us = us_of(at)
        line = self._line(at)
        found = np.flatnonzero(~line.attended & (line.end > at_us))
        if not found.size:
            return None
        first = found[0]
        return Stretch(
            instant_from_us(int(line.start[first])),
            instant_from_us(int(line.end[first])),
            False,
        )

    def unattended_since(self, at: datetime) -> datetime | None:
        """Since when nobody is there, closed time between included; None where somebody is.

        It looks back 32 days at least.
        """
        line = self._line(at)
        before = np.flatnonzero(line.start <= us_of(at))
        if not before.size or line.attended[before[-1]]:
            return None
        seen = np.flatnonzero(line.attended[before])
        return instant_from_us(int(line.start[seen[-1] + 1 if seen.size else 0]))

    def _line(self, at: datetime) -> Timeline:
        return merged(self.hours, *window(at))

    def _between(self, start_at: datetime, end_at: datetime) -> tuple[Timeline, int, int]:
        first, last = us_of(start_at), us_of(end_at)
        if last < first:
            raise Invalid(sentence("The end of a time span lies before its start."))
        if end_at - start_at > HORIZON:
            raise Invalid(
                sentence(
                    "A calendar is read over at most {days} days at once.", days=HORIZON.days
                )
            )
        return self._line(start_at), first, last


#: For a machine without a calendar: it runs round the clock and somebody is there.
ALWAYS = WorkCalendar(tuple(WeekSpan(day, 0, DAY_MIN, True) for day in range(7)))


def attended_together(calendars: Sequence[WorkCalendar]) -> WorkCalendar:
    """The hours in which at least one of some calendars has somebody there."""
    manned = [
        WorkCalendar(
            tuple(span for span in hours.spans if span.attended),
            hours.zone,
            tuple(one for one in hours.closures if one.attended or not one.opens),
        )
        for calendar in calendars
        for hours in calendar.hours
    ]
    return replace(manned[0], beside=tuple(manned[1:])) if manned else WorkCalendar(())


def _one(instants: npt.NDArray[np.datetime64]) -> datetime | None:
    number = int(instants.astype(np.int64)[0])
    return None if np.isnat(instants[0]) else instant_from_us(number)
