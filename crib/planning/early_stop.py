"""Which swaps let a machine make most before it has to stop, less what their minutes cost.

For where no set of swaps keeps a limit through a stretch. Running up to a point within it is
the covering problem of ``night_choice``: the cheapest swaps that take off enough by then. One
of these covers is tried for each point; what a better set does without is taken out, and what
it gains by is put in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats
from crib.planning.night_choice import cheapest_cover

#: A run that has to be stopped sooner is not worth its start [s] (common practice, no source).
LEAST_RUN_S: Final = 1800.0

#: A swap has to gain more than this beside its minutes [parts] (common practice, no source).
LEAST_GAINED: Final = 1.0

_SECONDS_PER_MINUTE: Final = 60.0


@dataclass(frozen=True, slots=True)
class StopAhead:
    """A machine's stretch whose limit has to be kept by a stop.

    Attributes:
        seconds: Running seconds from the begin of the stretch to its end, shape (points,).
        parts: Parts made up to each, same shape.
        stays: What each edge spends of the limit by then if it stays, shape (edges, points).
        swapped: The same of a new edge in its place.
        allowed: How much they may spend together.
    """

    seconds: Floats
    parts: Floats
    stays: Floats
    swapped: Floats
    allowed: float

    def second(self, swap: Bools) -> float:
        """Running second at which the limit is reached after swaps, or the stretch is over."""
        spent = np.where(swap[:, None], self.swapped, self.stays).sum(axis=0)
        return float(np.interp(self.allowed, spent, self.seconds))

    def made(self, swap: Bools) -> float:
        """Parts made by then; none where the run is not worth its start."""
        second = self.second(swap)
        if second - self.seconds[0] < LEAST_RUN_S:
            return 0.0
        return float(np.interp(second, self.seconds, self.parts) - self.parts[0])

    def costs(self, minutes: Floats) -> Floats:
        """Parts that swaps have to gain, by how long they take; shape as ``minutes``."""
        pace = (self.parts[1] - self.parts[0]) / (self.seconds[1] - self.seconds[0])
        cost: Floats = LEAST_GAINED + minutes * _SECONDS_PER_MINUTE * pace
        return cost


def most_before_stop(stop: StopAhead, able: Bools, minutes: Floats) -> Bools:
    """The swaps that gain the most parts before the stop, less what their minutes cost.

    Args:
        stop: The stretch.
        able: Which edges can be swapped before it, shape (edges,).
        minutes: How long that takes, same shape.

    Returns:
        Whether each is to be swapped, shape (edges,); none where no set gains enough.
    """
    cost = stop.costs(minutes)

    def worth(swap: Bools) -> float:
        return stop.made(swap) - float(cost[swap].sum())

    best = np.zeros(len(able), dtype=np.bool_)
    most = worth(best)
    for swap in (*_covers(stop, able, cost), able):
        swap, found = _improved(swap, able, worth)
        if found > most:
            best, most = swap, found
    return best


def _covers(stop: StopAhead, able: Bools, cost: Floats) -> list[Bools]:
    """Cheap swaps that keep the limit up to each point at which they have to and can."""
    relief = np.where(able[:, None], stop.stays - stop.swapped, 0.0)
    need = stop.stays.sum(axis=0) - stop.allowed
    found: dict[bytes, Bools] = {}
    for point in np.flatnonzero(need > 0).tolist():
        rows = np.flatnonzero(relief[:, point] > 0)
        if relief[rows, point].sum() < need[point]:
            continue
        picked = cheapest_cover(
            cost[rows].tolist(), relief[rows, point].tolist(), float(need[point])
        )
        swap = np.zeros(len(able), dtype=np.bool_)
        swap[rows[picked]] = True
        found[swap.tobytes()] = swap
    return list(found.values())


def _improved(swap: Bools, able: Bools, worth: Callable[[Bools], float]) -> tuple[Bools, float]:
    """Swaps with the one change after the other made that brings most, and their worth."""
    most = worth(swap)
    while True:
        best: Bools | None = None
        for row in np.flatnonzero(able).tolist():
            other = swap.copy()
            other[row] = not swap[row]
            found = worth(other)
            if found > most:
                best, most = other, found
        if best is None:
            return swap, most
        swap = best
