"""Lives by themselves: the forecast's closed forms beside maximum likelihood."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from crib.errors import OutsideModel
from crib.life.law import FORMS
from crib.life.one_key import fit_one_key
from crib.life.own_lives import fit_own_lives
from crib.life.shapes import law_prior, normalised, widened
from crib.life.weibull import quantile
from crib.life.weibull_form import WeibullForm


def test_many_lives_bring_both_estimates_to_their_law():
    ages = quantile((np.arange(400) + 0.5) / 400, 2.5, 80.0)

    found = fit_own_lives(list(ages), [True] * 400)

    assert found.likelihood.shape == pytest.approx(2.5, rel=0.03)
    assert found.shape == pytest.approx(2.5, rel=0.08)
    assert found.scale == pytest.approx(80, rel=0.03)
    assert found.new.p50 == pytest.approx(float(quantile(0.5, 2.5, 80.0)), rel=0.05)
    assert found.new.p05 == pytest.approx(float(quantile(0.05, 2.5, 80.0)), rel=0.15)


@pytest.mark.parametrize("shape", [1.8, 2.5, 4.0, 6.0])
def test_the_posterior_is_the_mixture_that_quadrature_gives(shape):
    """Against numerical integration over the scale by scipy, law by law.

    Weibull's and the lognormal law's densities are scipy's.
    """
    ages = quantile(np.array([0.1, 0.4, 0.6, 0.8]), shape, 1.0)
    ended = np.array([True, True, False, True])
    found = fit_one_key(ages, ended, 0.5)

    u = np.linspace(-3, 3, 6001)
    prior = widened(normalised(law_prior()[None, :]))[0]
    alive, total = np.zeros(3), 0.0
    ahead = np.array([0.3, 0.8, 1.5])
    for form, weight in zip(FORMS, prior, strict=True):
        if isinstance(form, WeibullForm):
            law = stats.weibull_min(form.shape, scale=np.exp(u))
        else:
            law = stats.lognorm(form.sd, scale=np.exp(u))
        log_f = -0.5 * (u / 0.5) ** 2
        for age, worn in zip(ages, ended, strict=True):
            log_f = log_f + (law.logpdf(age) if worn else law.logsf(age))
        density = weight * np.exp(log_f)
        total += integrate.trapezoid(density, u)
        for i, x in enumerate(ahead):
            alive[i] += integrate.trapezoid(density * law.sf(x), u)

    assert found.survival(0.0, ahead) == pytest.approx(alive / total, abs=0.012)


def test_quantiles_and_survival_tell_one_law():
    found = fit_own_lives([40, 55, 62], [True, True, False], age=30)
    again = fit_own_lives(
        [40, 55, 62], [True, True, False], age=30, ahead=[found.aged.p10, found.aged.p90]
    )

    assert [chance.survival for chance in again.aged.survival] == pytest.approx(
        [0.9, 0.1], rel=1e-6
    )


@pytest.mark.parametrize("unit", [1e-3, 1.0, 1e5])
def test_the_unit_of_use_plays_no_part(unit):
    ages = np.array([40, 55, 62, 71.0])

    one = fit_own_lives(list(ages), [True, True, False, True])
    other = fit_own_lives(list(ages * unit), [True, True, False, True])

    assert other.new.p50 == pytest.approx(one.new.p50 * unit)
    assert other.shape == pytest.approx(one.shape)


def test_a_promise_holds_few_lives_closer_than_none_does():
    free = fit_own_lives([50], [True])
    held = fit_own_lives([50], [True], promised=100)

    assert free.scale < held.scale < 120
    assert held.new.p90 / held.new.p05 < free.new.p90 / free.new.p05 * 1.2


def test_a_life_far_off_the_rest_is_named_and_left_out():
    found = fit_own_lives([10, 12, 11, 9, 1e9], [True] * 5)

    assert len(found.doubted) == 1
    assert found.doubted[0].startswith("lives[4] of age 1e+09")
    assert found.new.p90 < 100


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"ages": []}, "lives"),
        ({"ages": [0.0]}, "lives.0.age"),
        ({"ages": [1.0, math.nan]}, "lives.1.age"),
        ({"ages": [1.0], "age": -1.0}, "age"),
        ({"ages": [1.0], "age": math.inf}, "age"),
        ({"ages": [1.0], "promised": 0.0}, "promised_life"),
        ({"ages": [1.0], "spread": 7.0}, "spread"),
        ({"ages": [1.0], "ahead": [-1.0]}, "ahead"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(given, field):
    ended = [True] * len(given["ages"])

    with pytest.raises(OutsideModel) as refusal:
        fit_own_lives(given.pop("ages"), ended, **given)

    assert refusal.value.errors[0]["field"] == field
