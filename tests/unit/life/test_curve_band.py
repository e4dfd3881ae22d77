"""The band of a survival curve and the cost of any swap age, against other ways to get them."""

import numpy as np
import pytest
from scipy import stats

from crib.errors import OutsideModel
from crib.life.curve_band import break_rate, cost_curve, survival_band
from crib.life.fitting import fit_life_model
from crib.life.law import FORMS
from crib.life.observations import BROKEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.life.weibull_form import WeibullForm

WEAR_PER_PART = 0.01


def model_of(lives, widening=None, chipped=()):
    ages = np.concatenate([lives, chipped])
    ended = [WORN] * len(lives) + [BROKEN] * len(chipped)
    seen = life_histories(np.zeros(len(ages)), ages, 100 * ages, ended)
    keys = key_table([0], [0], [0])
    if widening is None:
        return fit_life_model(keys, seen)
    return fit_life_model(keys, seen, widening=np.array([widening]))


def lives(number, seed=3):
    return np.random.default_rng(seed).weibull(3.0, number)


def drawn(model, ages, number=60_000):
    """Survival curves drawn at random from what the model holds possible."""
    random = np.random.default_rng(8)
    scales, weights = model._wear.scales, model._wear.weights[0]
    which = random.choice(len(FORMS), number, p=weights / weights.sum())
    wear = np.empty((number, len(ages)))
    for s, form in enumerate(FORMS):
        rows = np.flatnonzero(which == s)
        one, two = scales.one[0, s], scales.two[0, s]
        if isinstance(form, WeibullForm):
            rate = random.gamma(one, size=len(rows)) / np.exp(two)
            wear[rows] = rate[:, None] * ages**form.shape
        else:
            middle = random.normal(one, np.sqrt(two**2 - form.sd**2), len(rows))
            wear[rows] = -stats.norm.logsf(np.log(ages), middle[:, None], form.sd)
    beta = model._breakage.exposure_wear(np.array([0]), np.array([WEAR_PER_PART]))[0]
    breaks = random.gamma(model._breakage.alpha[0], size=number) / beta
    exposed = ages + model._breakage.more * np.minimum(ages, 0.1)
    return np.exp(-wear - breaks[:, None] * exposed)


@pytest.mark.parametrize("number", [0, 2, 12])
def test_the_band_holds_what_curves_drawn_at_random_hold(number):
    model = model_of(lives(number))
    ages = np.array([0.2, 0.5, 0.9, 1.4])
    curves = drawn(model, ages)

    low, high = survival_band(model, 0, ages, WEAR_PER_PART, level=0.8)

    # 60,000 draws give a quantile of a share to about 0.005
    assert low == pytest.approx(np.quantile(curves, 0.1, axis=0), abs=0.01)
    assert high == pytest.approx(np.quantile(curves, 0.9, axis=0), abs=0.01)
    mean = model.survival(0, 0.0, ages, WEAR_PER_PART)
    assert mean == pytest.approx(curves.mean(axis=0), abs=0.01)


def test_every_new_edge_is_alive_and_more_lives_make_the_band_narrower():
    ages = np.linspace(0, 1.5, 31)
    few, many = (model_of(lives(number)) for number in (2, 60))

    low, high = survival_band(few, 0, ages, WEAR_PER_PART)
    closer_low, closer_high = survival_band(many, 0, ages, WEAR_PER_PART)

    assert (low[0], high[0]) == (1.0, 1.0)
    assert np.all(low <= high)
    assert np.all(np.diff(low) <= 1e-9)
    assert (closer_high - closer_low).max() < 0.7 * (high - low).max()


def test_a_key_that_nobody_trusts_keeps_its_median_inside_a_wider_curve():
    plain, wide = model_of(lives(12)), model_of(lives(12), widening=2.0)
    median = plain.basis(0).life_p50[0]
    ages = np.array([median / 4, median, median * 2])

    ends = np.array(survival_band(plain, 0, ages, WEAR_PER_PART))
    wider = np.array(survival_band(wide, 0, ages, WEAR_PER_PART))

    assert wider[:, 1] == pytest.approx(ends[:, 1], abs=0.01)
    assert np.all(wider[:, 0] < ends[:, 0])
    assert np.all(wider[:, 2] > ends[:, 2])
    mean = wide.survival(0, 0.0, ages, WEAR_PER_PART)
    assert np.all((wider[0] < mean) & (mean < wider[1]))


def test_a_level_that_is_none_is_refused():
    with pytest.raises(OutsideModel, match="between 0 and 1"):
        survival_band(model_of([]), 0, np.array([1.0]), WEAR_PER_PART, level=1.0)


def test_the_cost_curve_has_its_least_at_the_swap_age_and_the_cost_given_there():
    model = model_of(lives(20))
    age, rate, _ = model.swap_age(0, 10, 60, WEAR_PER_PART)

    curve = cost_curve(model, 0, 10, 60, WEAR_PER_PART)

    assert curve.ages[np.argmin(curve.rates)] == pytest.approx(age, rel=0.04)
    assert curve.rates.min() == pytest.approx(rate, rel=1e-3)
    # very early swaps cost the planned cost over next to no use
    assert curve.at(0.01) == pytest.approx(10 / 0.01, rel=0.02)


def test_costs_are_those_of_the_integral_written_out():
    model = model_of(lives(20))
    x = np.linspace(1e-6, 0.8, 4001)
    alive = model.survival(0, 0.0, x, WEAR_PER_PART)

    curve = cost_curve(model, 0, 10, 60, WEAR_PER_PART)

    by_hand = (10 * alive[-1] + 60 * (1 - alive[-1])) / np.trapezoid(alive, x)
    assert curve.at(0.8) == pytest.approx(by_hand, rel=2e-3)


def test_the_flat_region_is_where_a_swap_costs_hardly_more():
    curve = cost_curve(model_of(lives(20)), 0, 10, 60, WEAR_PER_PART)
    best = float(curve.ages[np.argmin(curve.rates)])

    low, high = curve.within(best, 0.02)

    assert low < best < high
    for end in (low, high):
        assert curve.at(end) == pytest.approx(1.02 * curve.rates.min(), rel=1e-6)
    inside = curve.rates[(curve.ages > low) & (curve.ages < high)]
    assert inside.max() <= 1.02 * curve.rates.min()


def test_edges_that_chip_early_bend_the_curve_its_band_and_its_costs():
    model = model_of(lives(30), chipped=[0.01, 0.02, 0.04, 0.05, 0.05, 0.06])
    ages = np.array([0.05, 0.2])
    curves = drawn(model, ages)

    low, high = survival_band(model, 0, ages, WEAR_PER_PART)
    curve = cost_curve(model, 0, 10, 60, WEAR_PER_PART)
    failed = float(model.break_probability(0, 0.0, 1.0, WEAR_PER_PART))

    assert model._breakage.more > 1
    assert low == pytest.approx(np.quantile(curves, 0.1, axis=0), abs=0.003)
    assert high == pytest.approx(np.quantile(curves, 0.9, axis=0), abs=0.003)
    exact = model.swap_age(0, 10, 60, WEAR_PER_PART)[1]
    assert curve.rates.min() == pytest.approx(float(exact), rel=1e-3)
    assert break_rate(model, 0, WEAR_PER_PART) == pytest.approx(-np.log1p(-failed), rel=0.05)


def test_breaks_come_as_often_as_edges_new_to_wear_fail():
    model = model_of(lives(20))

    rate = break_rate(model, 0, WEAR_PER_PART)

    # so early nothing has worn yet
    assert model.fail_probability(0, 0.0, 1e-3, WEAR_PER_PART) / 1e-3 == pytest.approx(
        rate, rel=0.02
    )
