"""Swaps before a stop: against every subset of up to eight tools, worked out one by one."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from crib.planning.early_stop import LEAST_GAINED, LEAST_RUN_S, StopAhead, most_before_stop

HOUR = 3600.0
POINTS = 25
#: Lives of the edges here: Weibull of this shape, in multiples of the scale.
LIFE = stats.weibull_min(3.0)


def hazard(age, wear):
    """Cumulative hazard of an edge over shares of the stretch, by scipy."""
    return LIFE.logsf(age) - LIFE.logsf(age + wear * np.linspace(0, 1, POINTS))


def stop_of(ages, wear, allowed, cycle_s=60.0, hours=8.0):
    seconds = np.linspace(0.0, hours * HOUR, POINTS)
    return StopAhead(
        seconds,
        seconds / cycle_s,
        np.array([hazard(a, w) for a, w in zip(ages, wear, strict=True)]),
        np.array([hazard(0.0, w) for w in wear]),
        allowed,
    )


def by_hand(stop, chosen, minutes, cycle_s=60.0):
    """Parts before the stop less the minutes of the swaps, by bisection, edge by edge."""
    curves = [stop.swapped[i] if one else stop.stays[i] for i, one in enumerate(chosen)]

    def spent(second):
        return sum(np.interp(second, stop.seconds, curve) for curve in curves)

    low, high = 0.0, float(stop.seconds[-1])
    if spent(high) > stop.allowed:
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (low, middle) if spent(middle) > stop.allowed else (middle, high)
    made = high / cycle_s if high >= LEAST_RUN_S else 0.0
    return made - sum(
        LEAST_GAINED + 60 * m / cycle_s for m, one in zip(minutes, chosen, strict=True) if one
    )


def shops(seed):
    rng = np.random.default_rng(10_000 + seed)
    count = int(rng.integers(2, 9))
    ages, wear = rng.uniform(0.0, 1.2, count), rng.exponential(0.15, count) + 0.005
    able = rng.random(count) < 0.85
    minutes = rng.uniform(2, 90, count) if seed % 2 else rng.uniform(1, 15, count)
    fresh = float(sum(hazard(0.0, w)[-1] for w in wear))
    return ages, wear, able, minutes, fresh * float(rng.uniform(0.05, 1.5))


def test_no_subset_of_up_to_eight_tools_makes_much_more():
    shares = []
    for seed in range(700, 900):
        ages, wear, able, minutes, allowed = shops(seed)
        stop = stop_of(ages, wear, allowed)
        chosen = most_before_stop(stop, able, minutes)
        assert not (chosen & ~able).any()
        best = max(
            by_hand(stop, subset, minutes)
            for subset in product((False, True), repeat=len(able))
            if not (np.array(subset) & ~able).any()
        )
        nothing = by_hand(stop, [False] * len(able), minutes)
        found = by_hand(stop, chosen, minutes)
        assert nothing - 1e-6 <= found <= best + 1e-6
        if best > nothing + 1e-6:
            shares.append((found - nothing) / (best - nothing))

    assert len(shares) > 100
    assert np.mean(np.array(shares) > 1 - 1e-6) > 0.99
    assert min(shares) > 0.9


def test_swaps_that_gain_only_together_are_found():
    """One after the other, from none or from all, none of them would be."""
    ages = (0.916, 0.616, 0.051, 0.194, 0.817, 1.046, 0.053, 0.136)
    wear = (0.0731, 0.02, 0.0863, 0.0073, 0.1099, 0.0906, 0.2501, 0.0288)
    minutes = np.array([3.8, 13.0, 5.4, 3.2, 14.4, 1.8, 9.3, 11.9])
    able = np.array([False, *[True] * 7])
    stop = stop_of(ages, wear, 0.01312)
    chosen = most_before_stop(stop, able, minutes)

    assert chosen.any()
    assert by_hand(stop, chosen, minutes) > by_hand(stop, [False] * 8, minutes)


def test_a_swap_that_gains_less_than_its_minutes_is_left_out():
    ages, wear, allowed = (0.6, 0.3), (0.2, 0.2), 0.05
    stop = stop_of(ages, wear, allowed)
    able = np.array([True, True])
    gained = stop.made(np.array([True, False])) - stop.made(np.zeros(2, dtype=bool))
    assert gained > 20

    below = most_before_stop(stop, able, np.array([gained - 2, 1e6]))
    above = most_before_stop(stop, able, np.array([gained, 1e6]))

    assert below.tolist() == [True, False]
    assert above.tolist() == [False, False]


def test_what_cannot_be_swapped_is_not_chosen_though_it_would_gain_most():
    stop = stop_of((0.9, 0.5), (0.2, 0.2), 0.1)
    minutes = np.array([5.0, 5.0])

    assert most_before_stop(stop, np.array([True, True]), minutes).tolist() == [True, True]
    assert most_before_stop(stop, np.array([False, True]), minutes).tolist() != [True, True]
    assert not most_before_stop(stop, np.zeros(2, dtype=bool), minutes).any()


def test_a_run_that_is_too_short_to_start_makes_nothing():
    # only together do the swaps bring the stop beyond half an hour
    stop = stop_of((1.0, 1.0), (1.0, 1.0), 0.1)
    nothing = np.zeros(2, dtype=bool)
    assert stop.second(nothing) < LEAST_RUN_S
    assert stop.made(nothing) == 0.0

    chosen = most_before_stop(stop, np.ones(2, dtype=bool), np.array([5.0, 5.0]))

    assert chosen.all()
    assert stop.made(chosen) == pytest.approx(stop.second(chosen) / 60)


@pytest.mark.parametrize(("pace", "swaps"), [(60.0, True), (28_800.0, False)])
def test_parts_and_not_minutes_are_weighed(pace, swaps):
    """Of parts that take eight hours a few more minutes make none."""
    stop = stop_of((0.6,), (0.3,), 0.05, cycle_s=pace)
    chosen = most_before_stop(stop, np.array([True]), np.array([5.0]))
    assert chosen.tolist() == [swaps]
