"""Readings that only go on from readings which were kept aside: a counter that was set."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from crib.floor.counter import FORWARD, pace_of, steps

#: So many readings in a row that were kept aside and agree make it likely; one is a slip.
_ENOUGH = 2

Reading = tuple[int, int, int]


def readings_behind_set(
    taken: Sequence[Reading],
    doubted: Sequence[tuple[int, int]],
    cycle_s: float,
    at_once: int,
) -> list[Reading]:
    """Those of new readings that go on from doubted ones rather than from the last known.

    A counter that was set from 900 to 500 shows 901 after 401 parts: from 900 that looks like
    one part, and long before it like a reset. The readings between tell that it is neither.

    Args:
        taken: Place, instant [µs] and count of each new reading that looks true, in order.
        doubted: Instants [µs] and counts of readings kept aside since the last known one.
        cycle_s: Shortest cycle time [s]; NaN where unknown.
        at_once: Parts that one cycle makes.
    """
    behind: list[Reading] = []
    waiting = sorted(set(doubted))
    since = -(1 << 62)
    for place, at_us, count in taken:
        before = [one for one in waiting if since < one[0] < at_us][-_ENOUGH:]
        chain = [*before, (at_us, count)]
        agree = len(before) == _ENOUGH and chain[0][1] < count
        if agree and all(
            _goes_on(one, other, cycle_s, at_once) for one, other in pairwise(chain)
        ):
            behind.append((place, at_us, count))
            waiting = sorted([*waiting, (at_us, count)])
        else:
            since = at_us
    return behind


def _goes_on(
    one: tuple[int, int], other: tuple[int, int], cycle_s: float, at_once: int
) -> bool:
    before, after = np.array([one[1]]), np.array([other[1]])
    elapsed = np.array([other[0] - one[0]])
    step = steps(before, after, elapsed, pace_of(cycle_s, 1, at_once))
    return bool(step.plausible[0] and step.kind[0] == FORWARD)
