"""Readings of one counter in order, and what lies between any two of them.

A step is parts made, unless the second reading begins a new baseline. It does where somebody
set the counter, where the two come from different counters, and after a pause of more than
three days in which the counter may have been changed: no reading says that it is the same,
and the jump is more than the machine makes at its own cycle time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from crib.arrays import Bools, Ints
from crib.floor.counter import FORWARD, Pace, Steps, pair_pace, steps

#: The step into a reading that begins a new baseline makes nothing.
BASELINE = 3

#: How a reading begins: as its neighbours say, set by a person, or left without the reading
#: that explained it (a verdict was taken back) and then only where it needs explaining.
AS_COUNTED, SET, UNEXPLAINED = 0, 1, 2

#: After a longer pause two readings are only compared where both name the same counter, or
#: where the jump is no more than the machine makes at its cycle time [µs]; a long weekend;
#: common practice, no source.
LONG_PAUSE_US = 3 * 86_400_000_000


class Line(NamedTuple):
    """Readings in order of their instants, shape (readings,) each.

    Attributes:
        at_us: Instants [µs since 1970].
        said: What the counter said.
        source: Which counter each is of, 0 where it does not say.
        starts: ``AS_COUNTED``, ``SET`` or ``UNEXPLAINED``.
        pace: How fast the machine counts around each.
    """

    at_us: Ints
    said: Ints
    source: Ints
    starts: Ints
    pace: Pace

    def take(self, which: Ints | Bools) -> Line:
        """Some of the readings."""
        at_us, said = self.at_us[which], self.said[which]
        return Line(at_us, said, self.source[which], self.starts[which], self.pace.take(which))

    def between(self, left: Ints, right: Ints) -> Steps:
        """Steps from readings at some places to readings at others, shape (pairs,)."""
        pace = pair_pace(self.pace.take(left), self.pace.take(right))
        elapsed = self.at_us[right] - self.at_us[left]
        step = steps(self.said[left], self.said[right], elapsed, pace)
        baseline = self._begins(left, right, elapsed, step, pace)
        if baseline.any():
            step.parts[baseline] = 0
            step.kind[baseline] = BASELINE
            step.plausible[baseline] = elapsed[baseline] > 0
        return step

    def _begins(self, left: Ints, right: Ints, elapsed: Ints, step: Steps, pace: Pace) -> Bools:
        ours, theirs = self.source[left], self.source[right]
        begins = (self.starts[right] == SET) | ((ours > 0) & (theirs > 0) & (ours != theirs))
        begins |= (self.starts[right] == UNEXPLAINED) & ~step.plausible
        paused = elapsed > LONG_PAUSE_US
        if paused.any():
            same = (ours > 0) & (ours == theirs)
            own = (elapsed / (1e6 * pace.cycle_s) + 1) * pace.at_once
            unclear = pace.guessed | (step.parts > own)
            moved = (step.parts > 0) | (step.kind != FORWARD)
            begins |= paused & ~same & unclear & moved & step.plausible
        return np.asarray(begins)


def carried_on(source: Ints) -> Ints:
    """Sources, where a reading that names none takes that of the one before it."""
    named = np.where(source > 0, np.arange(source.size), -1)
    before = np.maximum.accumulate(named) if source.size else named
    return np.where(before >= 0, source[np.maximum(before, 0)], 0)
