"""Where lives fell in their forecasts: even under the truth, censored and grouped or not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kstest, weibull_min

from crib.errors import OutsideModel
from crib.life.calibration import (
    INTERVALS,
    KEPT_PROBS,
    intervals_held,
    pinball,
    place_distribution,
    place_in_forecast,
    places,
)
from crib.life.held import TOO_CAUTIOUS, TOO_FEW, TOO_SURE, WITHIN_CHANCE

PROBS = np.array(KEPT_PROBS)


def weibull_left(shape: float, scale: float, age: float) -> np.ndarray:
    """Quantiles of the life left of an edge of this age, by scipy."""
    law = weibull_min(shape, scale=scale)
    return law.isf((1 - PROBS) * law.sf(age)) - age


def test_places_at_the_quantiles_are_their_shares():
    quantiles = np.tile(weibull_left(3, 1, 0.4), (7, 1))

    assert place_in_forecast(quantiles, quantiles[0]) == pytest.approx(PROBS, abs=1e-12)


@given(st.floats(0.8, 8), st.floats(0.01, 100), st.floats(1e-4, 1 - 1e-9))
def test_places_of_a_new_edge_are_those_of_weibulls_law(shape, scale, share):
    life = weibull_min(shape, scale=scale).ppf(share)

    place = place_in_forecast([weibull_left(shape, scale, 0.0)], [life])

    assert place == pytest.approx([share], abs=1e-6)


@pytest.mark.parametrize("age", [0.0, 0.3, 0.9])
def test_places_under_the_truth_are_even(age):
    rng = np.random.default_rng(1)
    law = weibull_min(3)
    life = law.isf(rng.random(4_000) * law.sf(age)) - age

    place = place_in_forecast(np.tile(weibull_left(3, 1, age), (4_000, 1)), life)

    assert kstest(place, "uniform").pvalue > 0.01
    assert kstest(place, lambda x: x**1.3).pvalue < 1e-6  # it would see a wrong one


def test_a_life_of_nothing_or_of_ages_stays_inside():
    quantiles = np.tile(weibull_left(3, 1, 0.0), (3, 1))

    place = place_in_forecast(quantiles, [0.0, 1e9, 1e300])

    assert place == pytest.approx([0.0, 1.0, 1.0])


@settings(max_examples=40)
@given(st.lists(st.tuples(st.integers(1, 399), st.booleans()), min_size=3, max_size=40))
def test_lives_cut_short_give_the_product_limit_estimate(rows):
    at = (np.array([step for step, _ in rows]) + 0.5) / 400
    ended = np.array([flag for _, flag in rows])
    if not ended.any():
        return

    upto = place_distribution(places(at, np.where(ended, at, 1.0)))

    from lifelines import KaplanMeierFitter  # takes seconds

    # reference: lifelines; beyond the last life seen to end its estimate stands still
    theirs = KaplanMeierFitter().fit(at, ended)
    last = int(at[ended].max() * 400)
    for step in range(1, last + 1, 7):
        at_step = theirs.predict(step / 400)
        assert 1 - upto[step] == pytest.approx(float(at_step), abs=5e-3)


def test_nothing_seen_leaves_the_claim_as_it_is():
    assert place_distribution(places([], [])) == pytest.approx(np.linspace(0, 1, 401))
    assert intervals_held(places([], []))[1].verdict == TOO_FEW


def seen_places(rng: np.random.Generator, edges: int, power: float = 1.0):
    """Right places (or drawn to one end), a third cut short, a fifth known to a night."""
    place = rng.random(edges) ** power
    cut = np.where(rng.random(edges) < 0.4, rng.random(edges), 1.0)
    low = np.minimum(place, cut)
    high = np.where(place < cut, place, 1.0)
    night = (place < cut) & (rng.random(edges) < 0.3)
    low = np.where(night, np.maximum(place - 0.1 * rng.random(edges), 0), low)
    high = np.where(night, np.minimum(place + 0.1 * rng.random(edges), 1), high)
    return low, high


@pytest.mark.parametrize("interval", [0, 1, 2])
def test_coverage_is_right_although_lives_are_known_in_part(interval):
    seen = places(*seen_places(np.random.default_rng(2), 4_000))
    claimed = INTERVALS[interval][0]

    found = intervals_held(seen)[interval]

    assert found.held == pytest.approx(claimed, abs=0.03)
    # those left open are the more doubtful ones: what is known is worth less than its number
    assert 2_000 < found.trials < 4_000
    assert found.verdict == WITHIN_CHANCE


def test_right_intervals_are_seldom_called_wrong():
    rng = np.random.default_rng(4)
    wrong = [
        intervals_held(places(*seen_places(rng, 40)))[1].verdict != WITHIN_CHANCE
        for _ in range(80)
    ]

    assert np.mean(wrong) <= 0.07


@pytest.mark.parametrize("edges", [30, 300])
def test_edges_nearly_all_cut_short_are_worth_few_that_came_to_their_end(edges):
    rng = np.random.default_rng(5)
    wrong, trials = [], []
    for _ in range(30):
        place, cut = rng.random(edges), rng.beta(1.2, 3, edges)
        cut = np.where(rng.random(edges) < 0.1, 1.0, cut)
        found = intervals_held(
            places(np.minimum(place, cut), np.where(place < cut, place, 1.0))
        )
        wrong += [one.verdict in (TOO_SURE, TOO_CAUTIOUS) for one in found]
        trials += [one.trials for one in found]

    assert np.mean(wrong) < 0.07
    assert np.mean(trials) < 0.35 * edges


def test_intervals_too_narrow_or_too_wide_are_told_apart():
    rng = np.random.default_rng(7)
    flat = np.where(rng.random(60) < 0.5, rng.random(60) * 0.08, 1 - rng.random(60) * 0.08)
    heaped = 0.35 + 0.3 * rng.random(60)

    assert intervals_held(places(flat, flat))[1].verdict == TOO_SURE
    assert intervals_held(places(heaped, heaped))[1].verdict == TOO_CAUTIOUS


def test_many_forecasts_of_one_edge_are_worth_one_edge():
    rng = np.random.default_rng(8)
    low, high = seen_places(rng, 20)
    once = intervals_held(places(low, high))[1]

    often = intervals_held(places(np.repeat(low, 9), np.repeat(high, 9), np.full(180, 1 / 9)))[
        1
    ]

    assert often.trials == pytest.approx(once.trials)
    assert (often.band_low, often.band_high) == pytest.approx((once.band_low, once.band_high))


def test_all_cut_short_says_nothing():
    found = intervals_held(places([0.2] * 30, [1.0] * 30))[1]

    assert (found.held, found.trials, found.verdict) == (None, 0.0, TOO_FEW)
    assert found.known_held == found.known_failed == 0


@given(st.floats(0.3, 3))
def test_the_pinball_loss_is_least_for_the_true_quantiles(factor):
    law = weibull_min(3)
    lives = law.ppf((np.arange(200) + 0.5) / 200)
    true = np.tile(law.ppf(PROBS), (200, 1))

    assert pinball(true, lives).mean() <= (pinball(true * factor, lives) * factor).mean() + 1e-9


@pytest.mark.parametrize(
    ("quantiles", "life"),
    [
        ([[1, 2, 3, 4, 5, 6, 6]], [1.0]),
        ([[0, 2, 3, 4, 5, 6, 7]], [1.0]),
        ([[1, 2, 3, 4, 5, 6, float("inf")]], [1.0]),
        ([[1, 2, 3, 4, 5, 6, 7]], [-1.0]),
        ([[1, 2, 3, 4, 5, 6, 7]], [float("nan")]),
        ([[1, 2, 3]], [1.0]),
    ],
)
def test_forecasts_that_are_none_are_refused(quantiles, life):
    with pytest.raises(OutsideModel):
        place_in_forecast(quantiles, life)


@pytest.mark.parametrize(
    ("low", "high", "weight"),
    [([0.5], [0.4], None), ([-0.1], [0.4], None), ([0.1], [0.2], [0.0]), ([0.1], [], None)],
)
def test_places_that_are_none_are_refused(low, high, weight):
    with pytest.raises(OutsideModel):
        places(low, high, weight)
