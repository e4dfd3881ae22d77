"""Our laws, estimates and quantities against general libraries on random input."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from crib.life.fit import fit_exponential, fit_weibull, kaplan_meier
from crib.life.replacement import weibull_swap_point
from crib.life.weibull import (
    failure,
    hazard,
    quantile,
    survival,
)
from crib.planning.order_quantity import (
    order_quantity,
    poisson_cover,
    reorder_point,
)

SHAPE, SCALE = st.floats(0.5, 8), st.floats(1e-2, 1e4)
LIVES = st.tuples(
    st.integers(0, 2**32 - 1), st.floats(0.7, 6), st.floats(0.5, 500), st.floats(0.3, 3)
)


def censored_lives(drawn, count=40):
    """Weibull lives, each cut short at a random age of its own."""
    seed, shape, scale, reach = drawn
    rng = np.random.default_rng(seed)
    lives = scale * rng.weibull(shape, count)
    taken_out = scale * reach * rng.uniform(0.2, 2, count)
    failed = lives <= taken_out
    assume(failed.sum() >= 3)
    return np.minimum(lives, taken_out), failed


@settings(max_examples=15)
@given(LIVES)
def test_weibull_maximum_likelihood_is_that_of_lifelines(drawn):
    from lifelines import WeibullFitter  # takes seconds, and is not needed by other tests

    ages, failed = censored_lives(drawn)

    ours, theirs = fit_weibull(ages, failed), WeibullFitter().fit(ages, failed)

    # The library stops a little before the top: ours may only be higher.
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-6, abs=1e-4)
    assert ours.log_likelihood >= theirs.log_likelihood_ - 1e-7 * abs(ours.log_likelihood)
    assert ours.shape == pytest.approx(theirs.rho_, rel=1e-3)
    assert ours.scale == pytest.approx(theirs.lambda_, rel=1e-3)


@settings(max_examples=25)
@given(LIVES)
def test_exponential_maximum_likelihood_is_that_of_lifelines(drawn):
    from lifelines import ExponentialFitter

    ages, failed = censored_lives(drawn)

    ours, theirs = fit_exponential(ages, failed), ExponentialFitter().fit(ages, failed)

    assert ours.scale == pytest.approx(theirs.lambda_, rel=1e-4)
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-6, abs=1e-4)
    assert ours.log_likelihood <= fit_weibull(ages, failed).log_likelihood + 1e-9


@settings(max_examples=40)
@given(st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=40))
def test_the_product_limit_is_that_of_lifelines_ties_included(lives):
    from lifelines import KaplanMeierFitter

    ages, failed = (np.array(column) for column in zip(*lives, strict=True))
    theirs = KaplanMeierFitter().fit(ages, failed).survival_function_.iloc[:, 0]

    for step in kaplan_meier(ages, failed):
        assert step.survival == pytest.approx(float(theirs.loc[step.age]), abs=1e-12)


@given(SHAPE, SCALE, st.floats(1e-3, 6), st.floats(1e-6, 1 - 1e-6))
def test_the_law_of_life_is_scipy_s(shape, scale, way, p):
    law, x = stats.weibull_min(shape, scale=scale), way * scale

    assert float(survival(x, shape, scale)) == pytest.approx(law.sf(x), rel=1e-9, abs=1e-300)
    assert float(failure(x, shape, scale)) == pytest.approx(law.cdf(x), rel=1e-9)
    assert float(quantile(p, shape, scale)) == pytest.approx(law.ppf(p), rel=1e-9)
    alive = law.sf(x)
    if alive > 1e-200:
        assert float(hazard(x, shape, scale)) == pytest.approx(law.pdf(x) / alive, rel=1e-7)


@settings(max_examples=25)
@given(st.floats(1.2, 6), SCALE, st.floats(1.5, 50))
def test_the_swap_point_is_where_a_minimiser_finds_it(shape, scale, ratio):
    """Against minimisation by scipy.optimize of the cost rate by scipy.integrate."""
    point = weibull_swap_point(shape, scale, 1.0, ratio)
    assume(point.age < 3 * scale)

    def rate(x):
        area = integrate.quad(lambda u: math.exp(-(u**shape)), 0, x, epsabs=0, limit=200)[0]
        alive = math.exp(-(x**shape))
        return (alive + ratio * (1 - alive)) / area

    best = optimize.minimize_scalar(rate, bounds=(1e-3, 6), method="bounded")

    assert point.cost_rate * scale <= best.fun * (1 + 1e-9)
    assert point.cost_rate * scale == pytest.approx(rate(point.age / scale), rel=1e-8)


@given(st.floats(0.1, 1e5), st.floats(0.01, 1e3), st.floats(0.001, 1e2))
def test_no_order_is_cheaper_than_the_economic_one(demand, order_cost, holding_cost):
    ours = order_quantity(demand, order_cost, holding_cost)

    def cost(q):
        return demand / q * order_cost + q / 2 * holding_cost

    best = optimize.minimize_scalar(
        cost, bracket=(ours.quantity / 3, ours.quantity * 2), options={"xtol": 1e-10}
    )
    assert ours.quantity == pytest.approx(best.x, rel=1e-3)
    assert ours.cost == pytest.approx(best.fun, rel=1e-9)


@given(st.floats(0, 1e4), st.floats(0, 1e3), st.floats(0, 100), st.floats(0.001, 0.999))
def test_the_reorder_point_is_a_quantile_of_demand_until_delivery(mean, sd, days, level):
    ours = reorder_point(mean, sd, days, level)

    theirs = mean * days + sd * math.sqrt(days) * stats.norm.ppf(level)
    assert ours.reorder_point == pytest.approx(theirs, rel=1e-9, abs=1e-9)


@given(st.floats(0.001, 1e4), st.floats(0.001, 0.9999))
def test_cover_of_slow_demand_is_the_poisson_quantile(mean, level):
    assert poisson_cover(mean, level) == max(0, int(stats.poisson.ppf(level, mean)))
