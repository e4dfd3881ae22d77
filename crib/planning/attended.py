"""When somebody is there to swap, for the edges of many machines at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.planning.ahead import NEVER_US, TimeAhead

#: A moment after an unattended stretch, so that its own clock time is the attended one.
JUST_AFTER_S = 1e-3


class _OneTime:
    """One calendar's stretches, unattended neighbours seen as one."""

    __slots__ = ("dark", "end_s", "home_s", "time")

    def __init__(self, time: TimeAhead) -> None:
        self.time = time
        self.dark = ~time.attended
        count = len(self.dark)
        ends = np.append(time.begin_s[1:], time.length_s)[:count]
        self.home_s = time.begin_s.copy()
        self.end_s = ends.astype(np.float64)
        for i in range(1, count):
            if self.dark[i] and self.dark[i - 1]:
                self.home_s[i] = self.home_s[i - 1]
        for i in range(count - 2, -1, -1):
            if self.dark[i] and self.dark[i + 1]:
                self.end_s[i] = self.end_s[i + 1]

    def stretches(self, until_s: float) -> Floats:
        """Begin and end of each unattended stretch that begins before, shape (n, 2)."""
        first = self.dark.copy()
        first[1:] &= ~self.dark[:-1]
        first &= self.time.begin_s < until_s
        return np.stack([self.time.begin_s[first], self.end_s[first]], axis=1)


class Attended:
    """The times of many machines; rows name a machine by its index.

    Args:
        times: One per machine; machines of one calendar may share one.
    """

    __slots__ = ("_number", "_times")

    def __init__(self, times: Sequence[TimeAhead]) -> None:
        known: dict[int, int] = {}
        self._times: list[_OneTime] = []
        number = []
        for time in times:
            if id(time) not in known:
                known[id(time)] = len(self._times)
                self._times.append(_OneTime(time))
            number.append(known[id(time)])
        self._number = np.array(number, dtype=np.int64)

    def _groups(self, machine: Ints) -> list[tuple[_OneTime, Ints | slice]]:
        if len(self._times) == 1:
            return [(self._times[0], slice(None))]
        number = self._number[machine]
        order = np.argsort(number, kind="stable")
        bounds = np.flatnonzero(np.diff(number[order])) + 1
        parts = [part for part in np.split(order, bounds) if part.size]
        return [(self._times[int(number[part[0]])], part) for part in parts]

    def last_attended(self, machine: Ints, seconds: Floats) -> tuple[Floats, Bools]:
        """Latest running seconds, not after those given, at which somebody can swap.

        Returns:
            The seconds, and whether they had to come forward to before an unattended stretch.
        """
        result, moved = seconds.copy(), np.zeros(len(seconds), dtype=np.bool_)
        for one, part in self._groups(machine):
            if not one.dark.any():
                continue
            wanted = seconds[part]
            index = np.maximum(np.searchsorted(one.time.begin_s, wanted, side="left") - 1, 0)
            dark = one.dark[index] & (wanted <= one.time.length_s)
            result[part] = np.where(dark, one.home_s[index], wanted)
            moved[part] = dark
        return result, moved

    def dark_end(self, machine: Ints, seconds: Floats) -> Floats:
        """First attended moment after the unattended stretch that begins at a second.

        Seconds in attended time stay; infinite where nobody comes within the layout.
        """
        result = seconds.copy()
        for one, part in self._groups(machine):
            if not one.dark.any():
                continue
            wanted = seconds[part]
            index = np.searchsorted(one.time.begin_s, wanted, side="right") - 1
            inside = (index >= 0) & (wanted <= one.time.length_s)
            index = np.maximum(index, 0)
            end = one.end_s[index]
            free = np.where(end < one.time.length_s, end + JUST_AFTER_S, np.inf)
            result[part] = np.where(inside & one.dark[index], free, wanted)
        return result

    def clock_us(self, machine: Ints, seconds: Floats) -> Ints:
        """Instants of running seconds [µs]; ``NEVER_US`` beyond the layout."""
        result = np.full(len(seconds), NEVER_US, dtype=np.int64)
        for one, part in self._groups(machine):
            result[part] = one.time.clock_us(seconds[part])
        return result

    def nights(self, until_s: float) -> Floats:
        """Unattended stretches of every machine [running s], shape (machines, most, 2).

        NaN where a machine has fewer. Stretches without an attended one between are one.
        """
        each = [one.stretches(until_s) for one in self._times]
        most = max((len(rows) for rows in each), default=0)
        table = np.full((len(each), most, 2), np.nan)
        for number, rows in enumerate(each):
            table[number, : len(rows)] = rows
        return table[self._number]
