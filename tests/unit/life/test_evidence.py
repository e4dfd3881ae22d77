"""Each life's closed form meets its likelihood, integrated apart, where the law stands.

The laws' densities and chances to survive are scipy's.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from crib.life.evidence import looked_at, sums_of
from crib.life.law import FORMS, LOG_MEDIAN, SHAPES, Law
from crib.life.looks import Looks
from crib.life.observations import (
    CENSORED,
    LAND_SEEN,
    WORN,
    LifeHistories,
    life_histories,
)
from crib.life.reasons import Doubtful, Reasons, endings_of
from crib.life.weibull_form import WeibullForm

PROMISE = 0.4
UNIT = float(np.exp(PROMISE))
#: Weibull's laws from nearly random to very even lives, and lognormal ones.
TRIED = (0, 9, len(SHAPES) - 1, len(SHAPES), len(SHAPES) + 8, len(FORMS) - 1)


def law_at(scale: float) -> Law:
    many = len(FORMS)
    return Law(
        np.array([PROMISE]),
        np.full((1, many), scale) - LOG_MEDIAN,
        np.full((1, many), 1 / many),
        np.full((1, many), 0.01),
        np.ones(many, dtype=np.bool_),
    )


def form_of(
    lives: LifeHistories, s: int, median: float, looks: Looks, doubtful: Doubtful | None = None
) -> Callable[[float], float]:
    """The closed form of one life under a law, by ln median over the promise."""
    zero = np.zeros(1, dtype=np.int64)
    look = zero[: len(looked_at(lives))]
    sums = sums_of(zero, look, 1, lives, np.ones(1), law_at(median), looks, doubtful)
    first, second, c = (float(x[0, s]) for x in (sums.first, sums.second, sums.constant))
    form = FORMS[s]

    def value(m: float) -> float:
        u = m - form.log_median
        if isinstance(form, WeibullForm):
            return c - first * form.shape * u - second * float(np.exp(-form.shape * u))
        return c + second * u - 0.5 * first * u**2

    return value


def scipy_law(s: int, median: float):
    form = FORMS[s]
    scale = float(np.exp(median - form.log_median))
    if isinstance(form, WeibullForm):
        return stats.weibull_min(form.shape, scale=scale)
    return stats.lognorm(form.sd, scale=scale)


def slope_and_bend(log_likelihood: Callable[[float], float], at: float) -> tuple[float, float]:
    h = 2e-3
    low, middle, high = (log_likelihood(at + step) for step in (-h, 0.0, h))
    return (high - low) / (2 * h), (high - 2 * middle + low) / h**2


def looks_of(
    error: float = 0.2, run_in: float = 0.15, tie: float = 1.0, growth: float = 0.0
) -> Looks:
    """Looks with the same figures for each kind, of one key whose usual life is 1."""
    three = np.ones(3)
    return Looks(
        np.zeros((3, 1)), run_in * three, error * three, growth * three, tie * three,
        0.1, np.array([PROMISE]), np.zeros(1),
    )  # fmt: skip


@pytest.mark.parametrize("s", TRIED)
@pytest.mark.parametrize(("ended", "wear"), [(WORN, 0.8), (CENSORED, 0.8), (CENSORED, 1.7)])
def test_a_life_that_is_known_weighs_as_its_likelihood_says(s, ended, wear):
    lives = life_histories([0], [wear * UNIT], [1], [ended])
    made = form_of(lives, s, 0.1, looks_of())

    def truth(m: float) -> float:
        law = scipy_law(s, m)
        return float(law.logpdf(wear) + np.log(wear) if ended == WORN else law.logsf(wear))

    assert made(0.1) == pytest.approx(truth(0.1), abs=1e-6)
    assert slope_and_bend(made, 0.1) == pytest.approx(
        slope_and_bend(truth, 0.1), rel=2e-3, abs=1e-4
    )


@pytest.mark.parametrize("s", TRIED)
@pytest.mark.parametrize(
    ("since", "wear", "median"),
    [(0.0, 0.9, 0.0), (0.5, 0.9, 0.0), (0.9, 1.2, -0.1), (0.5, 0.52, 0.0)],
)
def test_a_failure_nobody_saw_weighs_as_its_likelihood_says(s, since, wear, median):
    def truth(m: float) -> float:
        law = scipy_law(s, m)
        low, high = law.logsf(max(since, 1e-12)), law.logsf(wear)
        return float(low + np.log(-np.expm1(high - low)))

    lives = life_histories([0], [wear * UNIT], [1], [WORN], since=[since * UNIT])
    made = form_of(lives, s, median, looks_of())

    assert made(median) == pytest.approx(truth(median), abs=1e-5)
    slope, bend = slope_and_bend(truth, median)
    made_slope, made_bend = slope_and_bend(made, median)
    assert made_slope == pytest.approx(slope, rel=3e-3, abs=1e-3)
    assert made_bend == pytest.approx(bend, rel=2e-2, abs=2e-2)


@pytest.mark.parametrize("s", TRIED)
@pytest.mark.parametrize(("ended", "wear"), [(WORN, 0.3), (WORN, 0.7)])
def test_a_reason_that_may_be_wrong_weighs_as_its_likelihood_says(s, ended, wear):
    """Wear and taking out compete; one in four reasons is written down wrong."""
    reasons = Reasons(0.25, 0.5, 1e-9)
    lives = life_histories([0], [wear * UNIT], [1], [ended])
    doubt = reasons.doubtful(
        endings_of(lives, law_at(0.0), np.full(1, np.nan), np.full(3, 0.8))
    )
    made = form_of(lives, s, 0.0, looks_of(), doubt)
    assert doubt.rows.tolist() == [0]
    share = 1 - reasons.wrong
    other = float(np.exp(doubt.log_other[0]))

    def truth(m: float) -> float:
        law = scipy_law(s, m)
        return float(np.log(share * law.pdf(wear) * wear + other * law.sf(wear)))

    assert made(0.0) == pytest.approx(truth(0.0), abs=1e-6)
    assert slope_and_bend(made, 0.0)[0] == pytest.approx(
        slope_and_bend(truth, 0.0)[0], rel=3e-3, abs=2e-3
    )


# An edge far beyond the law, of which a look says that it was over long ago.
@pytest.mark.parametrize("s", TRIED)
def test_a_look_at_an_edge_that_outlived_all_bounds_is_still_a_number(s):
    lives = life_histories([0], [1e6], [1], [CENSORED], seen_share=[4.0], seen_kind=[LAND_SEEN])

    made = form_of(lives, s, 0.0, looks_of(0.1))

    assert np.isfinite(made(0.0))


def likelihood_of_look(s: int, m: float, share: float, age: float, looks: Looks) -> float:
    """By adaptive quadrature of law times look, panel by panel (scipy)."""
    law = scipy_law(s, m)
    r, error, tie = looks.run_in[1], looks.error[1], looks.tie[1]

    def log_f(z: float) -> float:
        grown = r + (1 - r) * min(age / np.exp(tie * z), 1.25)
        look = stats.norm.pdf(np.log(share), np.log(grown), error)
        x = float(np.exp(z))
        return float(law.logpdf(x) + z + np.log(0.95 * look + 0.05 / 3))

    z = np.linspace(np.log(age), np.log(age) + 6, 6001)
    values = np.array([log_f(one) for one in z[::10]])
    top = np.nanmax(values)
    heavy = z[::10][values > top - 40]
    edges = np.linspace(max(heavy[0] - 0.01, z[0]), heavy[-1] + 0.01, 13)
    panels = itertools.pairwise(edges)
    total = sum(quad(lambda one: np.exp(log_f(one) - top), a, b)[0] for a, b in panels)
    return float(top + np.log(total))


@pytest.mark.parametrize("s", TRIED)
@pytest.mark.parametrize(
    ("share", "age", "tie"),
    [(0.7, 0.6, 1.0), (0.3, 0.5, 1.0), (0.95, 0.9, 0.5), (0.2, 0.8, 1.0)],
)
def test_a_look_weighs_as_its_likelihood_says_however_far_from_the_law(s, share, age, tie):
    looks = looks_of(0.2, tie=tie)
    lives = life_histories(
        [0], [age * UNIT], [1], [CENSORED],
        seen_share=[share], seen_at=[age * UNIT], seen_kind=[LAND_SEEN],
    )  # fmt: skip
    made = form_of(lives, s, 0.0, looks)

    def truth(m: float) -> float:
        return likelihood_of_look(s, m, share, age, looks)

    assert made(0.0) == pytest.approx(truth(0.0), abs=4e-3)
    (slope, bend), (true_slope, true_bend) = (slope_and_bend(f, 0.0) for f in (made, truth))
    assert slope == pytest.approx(true_slope, rel=2e-2, abs=2e-2)
    # Where look and law contradict each other the form is held steeper, never flatter.
    assert bend <= true_bend * 0.97 + 0.05
