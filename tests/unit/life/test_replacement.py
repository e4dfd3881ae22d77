"""Planned change against failure."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from crib.errors import OutsideModel
from crib.life.replacement import least_cost_on_grid, weibull_swap_point


def cost_rate(age, shape, rate, cp, cf):
    def alive(x):
        return math.exp(-(x**shape) - rate * x)

    return (cp * alive(age) + cf * (1 - alive(age))) / quad(alive, 0, age)[0]


@pytest.mark.parametrize(("shape", "rate", "cf"), [(2.5, 0, 5), (3, 0.4, 8), (6, 0.1, 30)])
def test_the_swap_point_is_the_cheapest_age(shape, rate, cf):
    point = weibull_swap_point(shape, 1.0, 1, cf, rate)

    assert point.cost_rate == pytest.approx(cost_rate(point.age, shape, rate, 1, cf), rel=1e-6)
    for nearby in (0.9, 0.99, 1.01, 1.1):
        assert cost_rate(point.age * nearby, shape, rate, 1, cf) > point.cost_rate


@pytest.mark.parametrize(("shape", "cf"), [(1.0, 10), (0.6, 100), (3.0, 1.0), (3.0, 0.5)])
def test_a_swap_that_never_pays_waits_for_the_failure(shape, cf):
    point = weibull_swap_point(shape, 2.0, 1, cf)

    assert point.age == math.inf
    assert point.fails_first_prob == 1
    mean = 2 * math.gamma(1 + 1 / shape)
    assert point.cost_rate == pytest.approx(cf / mean, rel=1e-6)


def test_breakage_that_overwhelms_wear_makes_swapping_late():
    often = weibull_swap_point(2.0, 1.0, 1, 5, break_rate=3.0)

    assert often.age > weibull_swap_point(2.0, 1.0, 1, 5).age


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_costs_that_cannot_be_are_refused(bad):
    with pytest.raises(OutsideModel, match="planned_cost"):
        weibull_swap_point(2, 1, bad, 5)
    with pytest.raises(OutsideModel, match="failure_cost"):
        weibull_swap_point(2, 1, 1, bad)
    with pytest.raises(OutsideModel, match="shape"):
        weibull_swap_point(bad, 1, 1, 5)


def test_the_grid_finds_the_same_swap_point():
    ages = np.exp(np.arange(-160, 65) / 32)[None, :].repeat(3, axis=0)
    shapes = np.array([1.7, 3.0, 6.0])
    costs = np.array([4.0, 10.0, 50.0])

    swap = least_cost_on_grid(ages, ages ** shapes[:, None], np.ones(3), costs)

    for i in range(3):
        exact = weibull_swap_point(shapes[i], 1, 1, costs[i])
        assert swap.age[i] == pytest.approx(exact.age, rel=0.01)
        assert swap.cost_rate[i] == pytest.approx(exact.cost_rate, rel=2e-3)
        assert swap.fails_first_prob[i] == pytest.approx(exact.fails_first_prob, rel=0.05)


def test_the_grid_stops_where_it_has_to():
    ages = np.exp(np.arange(-160, 65) / 32)[None, :]

    swap = least_cost_on_grid(ages, ages**3, np.ones(1), np.array([10.0]), np.array([0.2]))

    assert 0.19 < swap.age[0] <= 0.2


def test_a_life_flatter_than_any_edge_is_refused_not_overflown():
    with pytest.raises(OutsideModel, match="shape"):
        weibull_swap_point(0.001, 1.0, 1.0, 5.0)
