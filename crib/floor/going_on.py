"""Counters of many machines that merely go on: no drop, nothing late, nothing too fast.

Most of what machines say is of this kind. Here it is judged for all of them at once, by the
same measure as ``crib.floor.count.absorb`` judges the readings of one machine.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.floor.counter import Pace, most_parts, pace_of


class NewReadings(NamedTuple):
    """Readings of several machines, machine after machine.

    Attributes:
        size: How many each machine has, shape (machines,).
        at_us: Instants [µs since 1970] as they came, shape (readings,).
        said: What the counters said, shape (readings,).
    """

    size: Ints
    at_us: Ints
    said: Ints

    @property
    def first(self) -> Ints:
        """Place of the first reading of each machine, shape (machines,)."""
        return np.asarray(np.cumsum(self.size) - self.size)

    def before(self, last: Ints, column: Ints) -> Ints:
        """The value before each reading: of the reading before, of the last known one first."""
        left = np.roll(column, 1)
        some = self.size > 0
        left[self.first[some]] = last[some]
        return left


class Windows(NamedTuple):
    """When runs were on their machines, shape (runs,) each.

    Attributes:
        machine: Place of the machine among those that report.
        begin_us: From when [µs].
        end_us: Until when [µs].
        cycle_s: Cycle time [s].
    """

    machine: Ints
    begin_us: Ints
    end_us: Ints
    cycle_s: Floats


def fastest_around(windows: Windows, new: NewReadings, from_us: Ints) -> Floats:
    """Shortest cycle time that could run between each reading and its neighbours [s].

    Args:
        windows: Runs of the machines.
        new: The readings.
        from_us: Instant of the last known reading of each machine [µs], of its first new one
            where none is known; shape (machines,).

    Returns:
        Shape (readings,); NaN where no run is known.
    """
    before = new.before(from_us, new.at_us)
    after = np.roll(new.at_us, -1)
    ends = (new.first + new.size - 1)[new.size > 0]
    after[ends] = new.at_us[ends]
    times = new.size[windows.machine]
    run = np.repeat(np.arange(times.size), times)
    within = np.arange(run.size) - np.repeat(np.cumsum(times) - times, times)
    reading = new.first[windows.machine[run]] + within
    could = (windows.begin_us[run] <= after[reading]) & (windows.end_us[run] >= before[reading])
    fastest = np.full(new.at_us.size, np.nan)
    np.fmin.at(fastest, reading[could], windows.cycle_s[run[could]])
    return fastest


def goes_on(
    new: NewReadings, last_us: Ints, last_said: Ints, fastest_s: Floats, at_once: Ints
) -> Bools:
    """Which machines' readings all follow the last known one, forward and not too fast.

    Args:
        new: The readings.
        last_us: Instant of the last known reading of each machine [µs], shape (machines,).
        last_said: What it said.
        fastest_s: Shortest cycle time around each reading [s], NaN where none is known, shape
            (readings,).
        at_once: Parts that one cycle of each machine makes, shape (machines,).

    Returns:
        Mask, shape (machines,); true where a machine has no readings.
    """
    elapsed = new.at_us - new.before(last_us, new.at_us)
    parts = new.said - new.before(last_said, new.said)
    pace = pace_of(fastest_s, new.at_us.size)
    # towards the last known reading only the new one's pace counts
    inner = np.ones(new.at_us.size, dtype=np.bool_)
    inner[new.first[new.size > 0]] = False
    cycle_s = np.where(inner, np.minimum(np.roll(pace.cycle_s, 1), pace.cycle_s), pace.cycle_s)
    most = most_parts(elapsed, Pace(cycle_s, pace.guessed)) * np.repeat(at_once, new.size)
    good = (elapsed > 0) & (parts >= 0) & (parts <= most)
    machine = np.repeat(np.arange(new.size.size), new.size)
    wrong = np.bincount(machine[~good], minlength=new.size.size)
    return np.asarray(wrong == 0)
