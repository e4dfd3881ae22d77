"""Each life's closed form meets its likelihood, integrated apart, where the law stands."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad

from crib.life.evidence import sums_of
from crib.life.law import SHAPES, Law
from crib.life.observations import CENSORED, LAND_SEEN, WORN, LifeHistories, life_histories

PROMISE = 0.4
SHAPES_TRIED = (0, 5, 11)


def form(lives: LifeHistories, s: int, scale: float, looks: LookAt) -> Callable[[float], float]:
    """``d ln L - L b + c`` of one life by ln scale over the promise."""
    many = len(SHAPES)
    law = Law(np.array([PROMISE]), np.full((1, many), scale), np.full((1, many), 1 / many))
    zero = np.zeros(1, dtype=np.int64)
    sums = sums_of(zero, 1, lives, np.ones(1), law, looks)
    d, b, c = (float(table[0, s]) for table in (sums.worn, sums.powers, sums.constant))
    shape = float(SHAPES[s])
    return lambda u: c - d * shape * u - b * float(np.exp(-shape * u))


def slope_and_bend(log_likelihood: Callable[[float], float], at: float) -> tuple[float, float]:
    h = 2e-3
    low, middle, high = (log_likelihood(at + step) for step in (-h, 0.0, h))
    return (high - low) / (2 * h), (high - 2 * middle + low) / h**2


class LookAt:
    """Looks of which only what they say of ln life is wanted."""

    def __init__(self, mean: float = 0.0, error: float = 1.0) -> None:
        self.mean, self.error = mean + PROMISE, error

    def life_seen(self, key: np.ndarray, *_: object) -> tuple[np.ndarray, np.ndarray]:
        return np.full(len(key), self.mean), np.full(len(key), self.error)


@pytest.mark.parametrize("s", SHAPES_TRIED)
@pytest.mark.parametrize(
    ("since", "wear", "scale"),
    [(0.0, 0.9, 0.0), (0.5, 0.9, 0.0), (1.0, 2.0, -0.3), (0.05, 0.06, 0.0)],
)
def test_a_failure_nobody_saw_weighs_as_its_likelihood_says(s, since, wear, scale):
    shape = float(SHAPES[s])

    def truth(u: float) -> float:
        low, high = ((age / np.exp(u)) ** shape for age in (since, wear))
        return float(-low + np.log(-np.expm1(low - high)))

    unit = np.exp(PROMISE)
    lives = life_histories([0], [wear * unit], [1], [WORN], since=[since * unit])
    made = form(lives, s, scale, LookAt())

    assert made(scale) == pytest.approx(truth(scale), abs=1e-6)
    assert slope_and_bend(made, scale) == pytest.approx(
        slope_and_bend(truth, scale), rel=1e-3, abs=1e-4
    )


# An edge far beyond the law, of which a look says that it was over long ago.
def test_a_look_at_an_edge_that_outlived_all_bounds_is_still_a_number():
    lives = life_histories([0], [1e6], [1], [CENSORED], seen_share=[0.5], seen_kind=[LAND_SEEN])

    made = form(lives, 11, 0.0, LookAt(-3.0, 0.1))

    assert np.isfinite(made(0.0))


# Life that the look points at, its error, age: near the law, beyond it, and far from it.
LOOKED_AT = [
    (0.0, 0.25, 0.5),
    (0.5, 0.2, 0.5),
    (0.3, 0.2, 1.3),
    (2.0, 0.1, 0.5),
    (3.0, 0.1, 0.5),
]


def likelihood_of_look(shape: float, u: float, mean: float, error: float, age: float) -> float:
    """By adaptive quadrature of law times look, panel by panel (scipy)."""

    def log_f(z: float) -> float:
        power = shape * (z - u)
        return np.log(shape) + power - np.exp(min(power, 600)) - 0.5 * ((z - mean) / error) ** 2

    z = np.linspace(np.log(age), max(mean, u) + 3, 4001)
    top = max(log_f(one) for one in z)
    heavy = z[[log_f(one) > top - 40 for one in z]]
    edges = np.linspace(max(heavy[0] - 0.01, z[0]), heavy[-1] + 0.01, 9)
    panels = itertools.pairwise(edges)
    total = sum(quad(lambda one: np.exp(log_f(one) - top), a, b)[0] for a, b in panels)
    return float(top + np.log(total))


@pytest.mark.parametrize("s", SHAPES_TRIED)
@pytest.mark.parametrize(("mean", "error", "age"), LOOKED_AT)
def test_a_look_weighs_as_its_likelihood_says_however_far_from_the_law(s, mean, error, age):
    shape, unit = float(SHAPES[s]), np.exp(PROMISE)
    lives = life_histories(
        [0], [age * unit], [1], [CENSORED],
        seen_share=[0.5], seen_at=[age * unit], seen_kind=[LAND_SEEN],
    )  # fmt: skip
    made = form(lives, s, 0.0, LookAt(mean, error))

    def truth(u: float) -> float:
        return likelihood_of_look(shape, u, mean, error, age)

    assert made(0.0) == pytest.approx(truth(0.0), abs=2e-3)
    (slope, bend), (true_slope, true_bend) = (slope_and_bend(f, 0.0) for f in (made, truth))
    assert slope == pytest.approx(true_slope, rel=3e-3, abs=2e-3)
    # Where look and law contradict each other the form is held steeper, never flatter.
    assert bend <= true_bend * 0.99 + 1e-3
