"""Mixed laws, their swap points and the scores of forecasts against a general library."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats
from scipy.special import digamma, polygamma

from crib.life.as_long import as_long, expected_failures, log_likelihood, wear_made
from crib.life.calibration import KEPT_PROBS, hazard_in_forecast, place_in_forecast
from crib.life.curves import GRID, Edges, mixture_curves
from crib.life.held import binomial_band
from crib.life.lognormal_form import LognormalForm
from crib.life.swap_rule import least_cost
from crib.life.weibull_form import WeibullForm

SHAPE = st.floats(1.5, 8)
FORMS = st.one_of(st.builds(WeibullForm, SHAPE), st.builds(LognormalForm, st.floats(0.15, 0.7)))
MIXED = st.lists(
    st.tuples(FORMS, st.floats(0.05, 1), st.floats(-0.5, 0.5), st.floats(0.02, 0.5)),
    min_size=1,
    max_size=3,
)


def mixed(parts):
    """Curves of one key: weight, mean and deviation of ln scale under each law."""
    forms = [form for form, *_ in parts]
    weight = np.array([part[1] for part in parts])
    ahead = [form.ahead(np.array([mean]), np.array([sd**2])) for form, _, mean, sd in parts]
    one, two = (np.array([[pair[i][0] for pair in ahead]]) for i in (0, 1))
    return mixture_curves(forms, (weight / weight.sum())[None, :], one, two), one[0], two[0]


def alive(form, log_age, one, two, mean, sd):
    """Chance to reach an age by integration over the scale, scipy's laws throughout."""
    if isinstance(form, WeibullForm):
        rate = stats.gamma(one, scale=np.exp(-two))
        # the rate of the given mean and variance of ln scale
        assert (two - digamma(one)) / form.shape == pytest.approx(mean, abs=1e-3)
        assert polygamma(1, one) == pytest.approx((form.shape * sd) ** 2, rel=1e-3)
        z = np.linspace(*np.log(rate.ppf([1e-13, 1 - 1e-13])), 20_001)
        x = np.exp(z)
        return integrate.simpson(
            rate.pdf(x) * x * np.exp(-x * np.exp(form.shape * log_age)), x=z
        )
    law = stats.norm(mean, sd)
    u = np.linspace(mean - 9 * sd, mean + 9 * sd, 2_001)
    return integrate.simpson(law.pdf(u) * stats.norm.sf(log_age, u, form.sd), x=u)


@settings(max_examples=20, deadline=None)
@given(MIXED)
def test_a_mixture_is_the_integral_over_all_that_is_not_known(parts):
    curves, one, two = mixed(parts)
    weight = np.array([part[1] for part in parts])
    nodes = np.searchsorted(GRID, [-1.0, -0.5, 0.0, 0.3])

    for node in nodes:
        log_age = curves.centre[0] + GRID[node]
        each = [
            alive(form, log_age, one[i], two[i], mean, sd)
            for i, (form, _, mean, sd) in enumerate(parts)
        ]
        ours = np.exp(-np.exp(curves.log_hazard[0, node]))
        assert ours == pytest.approx(weight @ each / weight.sum(), rel=1e-5, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(MIXED, st.floats(2, 60), st.floats(0, 0.3))
def test_the_swap_point_of_a_mixture_costs_no_more_than_any_other(parts, ratio, broken):
    """Age replacement: cost of a cycle over its mean length, integrated by scipy."""
    curves, one, two = mixed(parts)
    weight = np.array([part[1] for part in parts])
    centre = float(np.exp(curves.centre[0]))
    edges = Edges(
        np.zeros(1, dtype=np.int64), np.zeros(1), np.full(1, broken * 1e6),
        np.full(1, 1e6 * centre), np.zeros(1),
    )  # fmt: skip
    ages = centre * np.linspace(1e-5, 8, 40_001)
    each = [
        (1 + np.exp(form.shape * np.log(ages) - two[i])) ** -one[i]
        if isinstance(form, WeibullForm)
        else stats.norm.sf(np.log(ages), one[i], two[i])
        for i, (form, *_) in enumerate(parts)
    ]
    survival = weight @ np.array(each) / weight.sum() * np.exp(-broken * ages / centre)
    area = ages[0] + integrate.cumulative_simpson(survival, x=ages, initial=0)
    rates = (survival + ratio * (1 - survival)) / area
    best = int(np.argmin(rates))
    assume(100 < best < 30_000)

    found = least_cost(curves, edges, np.ones(1), np.full(1, ratio), None)

    age = float(found.age[0])
    assert np.interp(age, ages, rates) <= rates[best] * 1.001
    assert float(found.cost_rate[0]) == pytest.approx(rates[best], rel=3e-3)
    share = 1 - np.interp(age, ages, survival)
    assert float(found.fails_first_prob[0]) == pytest.approx(share, abs=2e-3)


@given(st.integers(1, 400), st.floats(0, 1), st.sampled_from([0.8, 0.95, 0.99]))
def test_the_band_of_a_share_is_the_exact_one_of_scipy(trials, share, level):
    held = round(share * trials)

    low, high = binomial_band(held, trials, level)

    theirs = stats.binomtest(held, trials).proportion_ci(level, method="exact")
    assert float(low) == pytest.approx(theirs.low, rel=1e-6, abs=1e-9)
    assert float(high) == pytest.approx(theirs.high, rel=1e-6)


@given(SHAPE, st.floats(1e-2, 1e4), st.lists(st.floats(1e-3, 4), min_size=1, max_size=9))
def test_the_place_of_a_life_is_scipy_s_distribution(shape, scale, ways):
    law = stats.weibull_min(shape, scale=scale)
    lives = scale * np.array(ways)
    quantiles = np.tile(law.ppf(KEPT_PROBS), (len(lives), 1))

    assert place_in_forecast(quantiles, lives) == pytest.approx(law.cdf(lives), rel=1e-6)
    gone = -law.logsf(lives)
    assert hazard_in_forecast(quantiles, lives) == pytest.approx(gone, rel=1e-6)


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.floats(1.2, 6), st.floats(0.4, 2.5))
def test_right_forecasts_expect_as_many_failures_as_a_poisson_count(seed, shape, reach):
    """Failures less their hazards have mean 0 and the hazards' sum as variance."""
    rng = np.random.default_rng(seed)
    law = stats.weibull_min(shape)
    lives, until = law.rvs(4_000, random_state=rng), reach * rng.uniform(0.2, 1.5, 4_000)
    failed = lives <= until
    hazard = -law.logsf(np.minimum(lives, until))
    # an edge that outlived 99 of 100 counts to there, as one that has not failed
    most = np.log(100)

    expected = float(expected_failures(_one_stage(hazard, failed)).sum())

    assert expected == pytest.approx(np.minimum(hazard, most).sum(), rel=1e-9)
    assert abs((failed & (hazard <= most)).sum() - expected) < 5 * np.sqrt(expected)


@given(st.integers(1, 200), st.floats(0.5, 300), st.floats(-0.6, 0.6))
def test_other_lives_are_weighed_as_poisson_counts_are(seen, expected, log_life):
    """Lives longer by a factor have so many times fewer failures to expect."""
    assume(expected / seen < np.log(100))  # beyond, one piece tells no more
    made = _one_stage(np.full(seen, expected / seen), np.ones(seen, dtype=bool))

    ours = log_likelihood(made, log_life).sum()

    means = expected * np.exp([-log_life, 0.0])
    longer, as_told = stats.poisson.logpmf(seen, means)
    assert ours == pytest.approx(longer - as_told, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("factor", [0.6, 0.85, 1.0, 1.3])
def test_the_factor_on_lives_is_the_likeliest_by_scipy(factor):
    rng = np.random.default_rng(11)
    lives, until = factor * rng.weibull(1.0, 3_000), rng.uniform(0.3, 3, 3_000)
    failed, hazard = lives <= until, np.minimum(lives, until)

    found = as_long(_one_stage(hazard, failed)).life_factor

    best = optimize.minimize_scalar(
        lambda u: -stats.poisson.logpmf(failed.sum(), hazard.sum() * np.exp(-u)),
        bounds=(-1.5, 1.5),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert np.log(found) == pytest.approx(best.x, abs=1e-4)
    assert found == pytest.approx(factor, rel=0.08)


def _one_stage(hazard, failed):
    """Pieces whose hazard is that of one stage of life, at slope 1."""
    good = np.zeros((len(hazard), 4))
    good[:, 0] = hazard
    zero = np.zeros(len(hazard))
    return wear_made(good, 0 * good, failed, zero, zero + 1)
