"""Finds the first reading that shows a counter setting which a person announced."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from crib.floor.counter import Pace, most_parts, pace_of, steps

#: A count that shows the setting may be this far from the announced instant [µs], where
#: counts between show that it was done earlier or later; a shift; common practice, no source.
HOLDS_US = 12 * 3_600_000_000


class Row(NamedTuple):
    """A reading: its instant [µs], what it said, whether it is still to be taken in."""

    at_us: int
    said: int
    new: bool


class ToldSet(NamedTuple):
    """What a person announced: the counter is set to a count at an instant [µs]."""

    at_us: int
    said: int


def set_at(told: ToldSet, rows: Sequence[Row], cycle_s: float, at_once: int) -> int | None:
    """When the counter began to count from what it was set to [µs]; None where no row shows it.

    The first count after the announced instant shows it if the machine can have made the
    difference since. Where counts show that it was set earlier or later, the first one does
    that cannot go on from the count before it.

    Args:
        told: What was announced.
        rows: Readings in order of their instants.
        cycle_s: Shortest cycle time [s]; NaN where unknown.
        at_once: Parts that one cycle makes.
    """
    pace = pace_of(cycle_s, 1, at_once)
    before: Row | None = None
    for row in rows:
        if before is None:
            before = row
            continue
        around = before.at_us < told.at_us <= row.at_us
        near = row.new and abs(row.at_us - told.at_us) <= HOLDS_US
        if around and _fits(told.said, row.said, row.at_us - told.at_us, pace):
            return told.at_us
        follows = not row.new or _follows(before, row, pace)
        elapsed = row.at_us - before.at_us
        # the instant after the count before it: nothing else lies in between
        if near and not follows and _fits(told.said, row.said, elapsed - 1, pace):
            return before.at_us + 1
        if follows:
            before = row
    return None


def _fits(begin: int, count: int, elapsed_us: int, pace: Pace) -> bool:
    if elapsed_us == 0:
        return count == begin
    return 0 <= count - begin <= float(most_parts(np.array([elapsed_us]), pace)[0])


def _follows(before: Row, row: Row, pace: Pace) -> bool:
    said = np.array([before.said]), np.array([row.said])
    step = steps(*said, np.array([row.at_us - before.at_us]), pace)
    return bool(step.plausible[0])
