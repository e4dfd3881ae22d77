"""Failures expected and seen: exact sums, wrong forecasts found soon, right ones left alone."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import expon, weibull_min

from crib.errors import OutsideModel
from crib.life.as_long import (
    AS_FORECAST,
    CALLED_WRONG,
    LONGER,
    NARROWER,
    SHORTER,
    TOO_FEW,
    WIDER,
    WearMade,
    _log_odds,
    as_long,
    expected_failures,
    log_likelihood,
    wear_made,
)

ENDS = -np.log1p(-np.array([0.1, 0.5, 0.9]))


def made(
    hazard: np.ndarray,
    failed: np.ndarray,
    slope: float = 4.0,
    block: np.ndarray | int = 0,
    unseen: np.ndarray | float = 0.0,
) -> WearMade:
    """New edges, each under one forecast to its end, by the hazard it was forecast."""

    def by_stage(upto: np.ndarray) -> np.ndarray:
        cut = np.minimum(upto[:, None], np.append(ENDS, np.inf))
        return np.diff(cut, axis=1, prepend=0.0)

    until = hazard + np.broadcast_to(unseen, hazard.shape)
    stage = (until[:, None] > ENDS).sum(axis=1)
    good = by_stage(hazard)
    blocks = np.broadcast_to(block, hazard.shape)
    dark = by_stage(until) - good
    return wear_made(good, dark, failed, stage, np.full(len(hazard), slope), blocks)


def lives(
    rng: np.random.Generator,
    count: int,
    factor: float = 1.0,
    slope: float = 4.0,
    width: float = 1.0,
    swapped: float = 1.0,
) -> WearMade:
    """Lives ``factor`` times as long as forecast; those that reach a share are swapped."""
    scale = 1 / np.log(2) ** (1 / slope)  # the median is 1
    life = factor * (scale * rng.weibull(slope, count)) ** width
    hazard = (life / scale) ** slope
    limit = -np.log1p(-swapped) if swapped < 1 else np.inf
    return made(np.minimum(hazard, limit), hazard <= limit, slope)


@pytest.mark.parametrize(
    ("factor", "verdict"), [(0.8, SHORTER), (1.25, LONGER), (1 / 1.2, SHORTER), (1.2, LONGER)]
)
def test_lives_a_fifth_off_are_noticed_within_forty_in_nine_of_ten_shops(factor, verdict):
    found = [as_long(lives(np.random.default_rng(s), 40, factor)) for s in range(120)]

    assert np.mean([one.verdict == verdict for one in found]) >= 0.85
    assert np.mean([_ever(s, 40, factor) == verdict for s in range(120)]) >= 0.9
    assert np.median([one.life_factor for one in found]) == pytest.approx(factor, rel=0.03)


def _ever(seed: int, count: int, factor: float, **how: float) -> str:
    """The first verdict on somebody who looks after every life."""
    whole = lives(np.random.default_rng(seed), count, factor, **how)
    for upto in range(1, count + 1):
        part = whole.take(np.arange(upto))
        if np.exp(_log_odds(part)).sum() < CALLED_WRONG:
            continue
        told = as_long(part).verdict
        if told not in (AS_FORECAST, TOO_FEW):
            return told
    return AS_FORECAST


def test_right_forecasts_are_called_wrong_in_at_most_one_shop_of_twenty_however_often_asked():
    cried = [_ever(1_000 + seed, 80, 1.0) != AS_FORECAST for seed in range(200)]

    # three standard deviations of a share of 1 in 20 seen in 200 shops
    assert np.mean(cried) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)
    assert any(cried)  # the bound is used, not never reached


@pytest.mark.parametrize(("width", "verdict"), [(1.7, WIDER), (0.5, NARROWER)])
def test_lives_that_scatter_otherwise_are_noticed(width, verdict):
    found = [
        as_long(lives(np.random.default_rng(s), 120, width=width)).verdict for s in range(60)
    ]

    assert np.mean([one == verdict for one in found]) > 0.8


def test_where_swaps_leave_few_failures_nothing_is_claimed():
    found = as_long(lives(np.random.default_rng(3), 40, swapped=0.1))

    assert found.verdict == TOO_FEW
    assert found.expected < found.needed
    assert found.seen < 10


def test_enough_right_lives_are_called_as_forecast():
    found = as_long(lives(np.random.default_rng(4), 200))

    assert found.verdict == AS_FORECAST
    assert found.expected == pytest.approx(200, rel=0.2)
    assert found.seen == 197  # three outlived 99 of 100
    assert found.life_factor == pytest.approx(1.0, abs=0.05)


def test_forecasts_that_turn_wrong_after_a_good_year_are_noticed_from_then_on():
    rng = np.random.default_rng(5)
    good, bad = lives(rng, 400), lives(rng, 60, 0.75)
    block = np.concatenate([np.repeat(np.arange(10), 40), np.full(60, 10)])
    whole = WearMade(
        *(np.concatenate([getattr(one, name) for one in (good, bad)])
          for name in ("good", "unseen", "failed", "stage", "slope")),
        block,
    )  # fmt: skip

    found = as_long(whole)

    assert (found.verdict, found.from_block) == (SHORTER, 10)
    assert found.life_factor == pytest.approx(0.75, rel=0.08)
    assert as_long(whole.take(block < 10)).verdict == AS_FORECAST


def test_an_error_too_small_for_any_swap_is_not_called_wrong():
    found = as_long(lives(np.random.default_rng(6), 8_000, 0.95))

    assert found.odds > CALLED_WRONG
    assert found.verdict == AS_FORECAST


def test_several_groups_side_by_side_need_greater_odds():
    seen = lives(np.random.default_rng(7), 18, 0.75)

    assert as_long(seen).verdict == SHORTER
    assert as_long(seen, groups=10_000).verdict == TOO_FEW


def test_a_failure_that_nobody_saw_counts_by_its_stretch():
    hazard, dark = np.array([0.3]), np.array([0.9])
    seen = made(hazard, np.array([True]), unseen=dark)

    # reference: scipy; mean of an exponential life in a stretch, and the chance of the stretch
    law = expon()
    mean = quad(lambda h: h * law.pdf(h), 0.3, 1.2)[0] / (law.cdf(1.2) - law.cdf(0.3))
    assert expected_failures(seen) == pytest.approx([mean])
    slower = expon(scale=1.2**4)
    chance = slower.cdf(1.2) - slower.cdf(0.3)
    ratio = np.log(chance / (law.cdf(1.2) - law.cdf(0.3)))
    assert log_likelihood(seen, np.log(1.2)) == pytest.approx([ratio])


@pytest.mark.parametrize("ended", [True, False])
def test_the_likelihood_of_longer_lives_is_that_of_weibulls_law(ended):
    hazard = np.array([0.05, 0.4, 1.1, 2.9])

    ours = log_likelihood(made(hazard, np.full(4, ended), 3.0), 0.3)

    # reference: scipy
    life = hazard ** (1 / 3.0)
    told, other = weibull_min(3.0), weibull_min(3.0, scale=np.exp(0.3))
    theirs = [(law.logpdf if ended else law.logsf)(life) for law in (other, told)]
    assert ours == pytest.approx(theirs[0] - theirs[1])


def test_a_wrong_forecast_has_no_better_odds_under_the_right_one():
    rng = np.random.default_rng(8)
    right = lives(rng, 200_000)

    for life, width in ((0.18, 0.0), (-0.18, 0.0), (0.0, 0.4), (0.0, -0.4)):
        ratio = np.exp(log_likelihood(right, life, width))
        # the mean of a likelihood ratio is 1, which is what the bound of Ville rests on
        assert ratio.mean() == pytest.approx(1.0, abs=5 * ratio.std() / np.sqrt(len(ratio)))


def test_one_forgotten_removal_does_not_outweigh_the_shop():
    rng = np.random.default_rng(9)
    hazard = np.append(rng.exponential(size=60), 500.0)

    found = as_long(made(hazard, np.append(np.ones(60, bool), False)))

    assert found.verdict == AS_FORECAST
    assert found.expected < 75


def test_no_wear_says_nothing():
    nothing = as_long(made(np.zeros(0), np.zeros(0, bool)))
    unused = as_long(made(np.zeros(3), np.zeros(3, bool)))

    for found in (nothing, unused):
        assert (found.verdict, found.expected, found.seen) == (TOO_FEW, 0.0, 0)
        assert found.life_factor is None
        assert found.needed is None


@pytest.mark.parametrize(
    "column",
    [
        {"good": [[-0.1, 0, 0, 0]]},
        {"unseen": [[np.nan, 0, 0, 0]]},
        {"slope": [0.0]},
        {"stage": [4]},
        {"failed": [True, False]},
        {"block": [-1]},
    ],
)
def test_wear_that_contradicts_itself_is_refused(column):
    right = {
        "good": [[0.1, 0, 0, 0]], "unseen": [[0, 0, 0, 0]], "failed": [True], "stage": [0],
        "slope": [3.0], "block": [0],
    }  # fmt: skip
    wear_made(**right)

    with pytest.raises(OutsideModel):
        wear_made(**(right | column))
