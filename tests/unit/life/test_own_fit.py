"""Whether any law fits lives: the distance, and how often it is that large by chance."""

from __future__ import annotations

import numpy as np
import pytest

from crib.life.own_fit import _cut_short, _distance, chance_of_distance
from crib.life.shapes import law_prior, normalised, widened

OPINION = np.log(np.maximum(widened(normalised(law_prior()[None, :]))[0], 1e-300))


def cut_lives(number, rng, shape=4.0, cut=1.0):
    life = rng.weibull(shape, number)
    until = cut * np.exp(0.1 * rng.standard_normal(number))
    return np.minimum(life, until), life <= until


def test_the_distance_is_that_of_kaplan_and_meier_s_share():
    from lifelines import KaplanMeierFitter  # takes seconds

    chance = np.random.default_rng(3).uniform(0.05, 0.95, 25)
    worn = np.random.default_rng(4).random(25) < 0.7
    fitter = KaplanMeierFitter().fit(chance, worn)
    u = np.linspace(0, chance.max(), 200_001)
    gone = 1 - fitter.survival_function_at_times(u).to_numpy()
    expected = 25 * np.trapezoid((gone - u) ** 2, u)

    assert _distance(chance[None], worn[None])[0] == pytest.approx(expected, rel=1e-3)


def test_without_censoring_it_is_cramer_and_von_mises_statistic():
    from scipy.stats import cramervonmises

    u = np.random.default_rng(3).random(30)
    upto = float(np.max(u))
    # beyond the largest value the share is 1: that piece is not part of it
    whole = cramervonmises(u, "uniform").statistic - 30 * (1 - upto) ** 3 / 3

    assert _distance(u[None], np.ones((1, 30), dtype=bool))[0] == pytest.approx(whole)


def test_lives_of_a_law_lie_far_from_it_as_often_as_by_chance():
    rng = np.random.default_rng(8)
    chances = np.array([chance_of_distance(*cut_lives(25, rng), OPINION) for _ in range(60)])

    assert np.mean(chances <= 0.01) <= 0.05
    assert 0.02 <= np.mean(chances <= 0.2) <= 0.4


def test_lives_that_no_law_has_are_told():
    rng = np.random.default_rng(8)
    near = 0.1 * np.exp(0.05 * rng.standard_normal(15))
    far = np.exp(0.05 * rng.standard_normal(15))

    chance = chance_of_distance(np.r_[near, far], np.ones(30, dtype=bool), OPINION)

    assert chance <= 0.01


def test_the_same_lives_get_the_same_answer_and_many_are_thinned_out():
    ages, worn = cut_lives(3_000, np.random.default_rng(8))

    one, other = (chance_of_distance(ages, worn, OPINION) for _ in range(2))

    assert one == other


def test_drawn_edges_are_taken_out_as_often_as_the_key_s_were():
    z = np.log(np.array([0.5, 0.6, 0.7, 0.8]))
    worn = np.array([True, False, False, True])
    share = (np.arange(3_000) + 0.5) / 3_000

    ages = _cut_short(z, worn, share)

    # left in after 0.6: 2 of 3, after 0.7: 1 of 2 of those
    assert np.mean(ages == z[1]) == pytest.approx(1 / 3, abs=1e-3)
    assert np.mean(ages == z[2]) == pytest.approx(1 / 3, abs=1e-3)
    assert np.mean(np.isinf(ages)) == pytest.approx(1 / 3, abs=1e-3)
