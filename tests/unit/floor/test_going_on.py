"""Counters that go on, judged for many machines at once, against ``absorb`` one by one."""

from __future__ import annotations

import numpy as np
import pytest

from crib.floor.count import KnownCounts, absorb
from crib.floor.going_on import NewReadings, Windows, fastest_around, goes_on

MACHINES = 600
SECOND_US = 1_000_000


def _readings(
    rng: np.random.Generator,
) -> tuple[NewReadings, np.ndarray, np.ndarray, np.ndarray]:
    """Readings close to what machines can just make; a few drop, repeat or are too fast."""
    size = rng.integers(0, 4, MACHINES)
    last_us = rng.integers(0, 10**9, MACHINES)
    last_said = rng.integers(0, 500, MACHINES)
    at_once = rng.choice([1, 2, 4], MACHINES)
    at_us, said = [], []
    for machine in range(MACHINES):
        gap_s = rng.choice([5, 10, 22, 45, 90], size[machine]) * rng.integers(1, 4)
        made = rng.integers(0, 2 + gap_s // 8) * at_once[machine]
        strange = rng.random(size[machine]) < 0.05
        gap_s[strange & (gap_s == 5)] = 0
        made[strange & (gap_s > 5)] = -1
        at_us.append(last_us[machine] + np.cumsum(gap_s) * SECOND_US)
        said.append(last_said[machine] + np.cumsum(made))
    new = NewReadings(size, np.concatenate(at_us), np.concatenate(said))
    return new, last_us, last_said, at_once


@pytest.mark.parametrize("seed", [1, 2])
def test_goes_on_where_absorb_takes_everything_forward(seed: int) -> None:
    rng = np.random.default_rng(seed)
    new, last_us, last_said, at_once = _readings(rng)
    fastest_s = rng.choice([np.nan, 10.0, 20.0, 45.0], new.at_us.size)

    good = goes_on(new, last_us, last_said, fastest_s, at_once)

    wanted = np.zeros(MACHINES, dtype=bool)
    for machine in range(MACHINES):
        mine = slice(new.first[machine], new.first[machine] + new.size[machine])
        one = [
            np.array([value[machine]])
            for value in (last_us, last_said, np.zeros_like(last_us), last_said)
        ]
        taken = absorb(
            KnownCounts(*one),
            new.at_us[mine],
            new.said[mine],
            fastest_s[mine],
            parts_per_cycle=int(at_once[machine]),
        )
        moves_on = not (taken.refused or taken.resets_seen or taken.rollovers_seen)
        wanted[machine] = moves_on and not taken.duplicate.any()
    np.testing.assert_array_equal(good, wanted)
    assert 0.2 < good[new.size > 0].mean() < 0.9
    assert good[new.size == 0].all()


def test_the_cycle_around_a_reading_is_the_fastest_that_could_run() -> None:
    # three machines: two readings, none, one; instants in seconds
    new = NewReadings(np.array([2, 0, 1]), np.array([100, 200, 100]), np.array([1, 2, 3]))
    machine = np.array([0, 0, 0, 2, 1, 0])
    begin = np.array([-50, 150, 0, 100, 0, 201])
    end = np.array([10, 190, 49, 400, 400, 400])
    cycle = np.array([10.0, 20.0, 5.0, 40.0, 1.0, 2.0])
    windows = Windows(machine, begin, end, cycle)

    fastest = fastest_around(windows, new, np.array([50, 50, 101]))

    # the first run is over before any of them; the second lies between both of a machine
    np.testing.assert_array_equal(fastest, [20.0, 20.0, 40.0])
    nothing = fastest_around(Windows(*(column[:0] for column in windows)), new, np.zeros(3))
    assert np.isnan(nothing).all()


def test_a_run_that_touches_a_reading_counts() -> None:
    new = NewReadings(np.array([1]), np.array([100]), np.array([1]))
    machine, begin, end = np.array([0, 0]), np.array([0, 100]), np.array([50, 400])
    both = Windows(machine, begin, end, np.array([9.0, 7.0]))
    first = Windows(*(column[:1] for column in both))

    assert fastest_around(both, new, np.array([50])).tolist() == [7.0]
    assert fastest_around(first, new, np.array([50])).tolist() == [9.0]
    assert np.isnan(fastest_around(first, new, np.array([51]))).all()
