"""Running seconds of a calendar against the clock, laid out once for many edges."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats, Ints
from crib.floor.calendar import Stretch, WorkCalendar
from crib.floor.timeline import us_of

#: An instant that never comes within the time laid out.
NEVER_US = np.int64(-1)


@dataclass(frozen=True, slots=True)
class TimeAhead:
    """The stretches in which a machine may run, from one instant on.

    Many numbers at once are looked up in arrays, single ones by bisection in plain lists.

    Attributes:
        begin_us: Begin of each stretch [µs], shape (stretches,); alike neighbours are merged.
        end_us: End of each [µs].
        attended: Whether somebody is there.
        begin_s: Running seconds before each stretch.
        length_s: Running seconds laid out in all.
        pace: Running seconds per second of each stretch; 1 where left out. A machine that
            cuts less with nobody there has running seconds that are longer on the clock then.
    """

    begin_us: Ints
    end_us: Ints
    attended: Bools
    begin_s: Floats
    length_s: float
    pace: Floats | None = None
    _begin_us: list[int] = field(init=False, repr=False, compare=False)
    _begin_s: list[float] = field(init=False, repr=False, compare=False)
    _attended: list[bool] = field(init=False, repr=False, compare=False)
    _pace: list[float] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_begin_us", self.begin_us.tolist())
        object.__setattr__(self, "_begin_s", self.begin_s.tolist())
        object.__setattr__(self, "_attended", self.attended.tolist())
        if self.pace is None:
            object.__setattr__(self, "pace", np.ones(self.begin_us.size))
        object.__setattr__(self, "_pace", self._paces.tolist())

    @property
    def _paces(self) -> Floats:
        return np.ones(self.begin_us.size) if self.pace is None else self.pace

    def clock_us(self, seconds: ArrayLike) -> Ints:
        """Instants at which running seconds are reached; ``NEVER_US`` beyond the layout."""
        wanted = np.asarray(seconds, dtype=np.float64)
        if not self.begin_us.size:
            return np.full(wanted.shape, NEVER_US)
        index = np.clip(
            np.searchsorted(self.begin_s, wanted, side="left") - 1, 0, self.begin_s.size - 1
        )
        reachable = np.isfinite(wanted) & (wanted <= self.length_s)
        inside = np.where(reachable, np.maximum(wanted, 0.0) - self.begin_s[index], 0.0)
        inside = inside / self._paces[index]
        at = self.begin_us[index] + np.rint(inside * 1e6).astype(np.int64)
        return np.where(reachable, at, NEVER_US)

    def clock_at(self, second: float) -> int:
        """Instant at which one running second is reached [µs]; ``NEVER_US`` beyond."""
        if not self._begin_us or not second <= self.length_s:
            return int(NEVER_US)
        second = max(second, 0.0)
        index = max(bisect_left(self._begin_s, second) - 1, 0)
        inside = (second - self._begin_s[index]) / self._pace[index]
        return self._begin_us[index] + round(inside * 1e6)

    def seconds_at(self, at_us: int) -> float:
        """Running seconds that have passed by an instant (0 before the layout)."""
        run = np.clip(at_us - self.begin_us, 0, self.end_us - self.begin_us)
        return float((run * self._paces).sum() / 1e6)

    def last_attended(self, seconds: float) -> tuple[float, bool]:
        """Latest running second, not after ``seconds``, at which somebody can swap.

        Returns:
            The second, and whether it had to come forward to before an unattended stretch.
        """
        index = max(bisect_left(self._begin_s, seconds) - 1, 0)
        if not self._begin_s or self._attended[index] or seconds > self.length_s:
            return seconds, False
        return self._begin_s[index], True

    def unattended_end(self, seconds: float) -> float:
        """Running second at which the unattended stretch that begins at ``seconds`` ends."""
        index = bisect_right(self._begin_s, seconds) - 1
        if index < 0 or self._attended[index]:
            return seconds
        following = self._begin_s[index + 1 :]
        return following[0] if following else self.length_s

    def next_unattended(self) -> tuple[float, float] | None:
        """Running seconds at which the first unattended stretch begins and ends, if any."""
        dark = np.flatnonzero(~self.attended)
        if not dark.size:
            return None
        first = int(dark[0])
        seconds = (self.end_us[first] - self.begin_us[first]) / 1e6 * self._paces[first]
        return float(self.begin_s[first]), float(self.begin_s[first] + seconds)

    def paced(self, attended: float, unattended: float) -> TimeAhead:
        """The same stretches with running seconds that pass at a pace of each kind.

        Args:
            attended: Running seconds per second while somebody is there, more than 0.
            unattended: The same while nobody is.
        """
        pace = np.where(self.attended, attended, unattended)
        lengths = (self.end_us - self.begin_us) / 1e6 * pace
        return TimeAhead(
            self.begin_us,
            self.end_us,
            self.attended,
            np.cumsum(lengths) - lengths,
            float(lengths.sum()),
            pace,
        )


def lay_out(calendar: WorkCalendar, now: datetime, until: datetime) -> TimeAhead:
    """The calendar's stretches between two instants as arrays."""
    merged = _merge(calendar.stretches(now, until))
    begin = np.array([us_of(stretch.start_at) for stretch in merged], dtype=np.int64)
    end = np.array([us_of(stretch.end_at) for stretch in merged], dtype=np.int64)
    lengths = (end - begin) / 1e6
    return TimeAhead(
        begin,
        end,
        np.array([stretch.attended for stretch in merged], dtype=np.bool_),
        np.cumsum(lengths) - lengths,
        float(lengths.sum()),
    )


def _merge(stretches: Sequence[Stretch]) -> list[Stretch]:
    merged: list[Stretch] = []
    for stretch in stretches:
        last = merged[-1] if merged else None
        if last and last.end_at == stretch.start_at and last.attended == stretch.attended:
            merged[-1] = Stretch(last.start_at, stretch.end_at, last.attended)
        else:
            merged.append(stretch)
    return merged
