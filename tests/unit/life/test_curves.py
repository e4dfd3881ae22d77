"""Tables of predictive life against their closed forms."""

import numpy as np
import pytest
from scipy import stats

from crib.life.curves import GRID, NODES, Curves, Edges, ahead_for_hazard, mixture_curves
from crib.life.lognormal_form import LognormalForm
from crib.life.weibull_form import WeibullForm

SHAPES = np.array([1.5, 3.0, 8.0])
FORMS = [WeibullForm(shape) for shape in SHAPES.tolist()]
WEIGHTS = np.array([[0.2, 0.5, 0.3], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])
A = np.array([[0.4, 0.8, 0.3], [60.0, 60.0, 60.0], [0.5, 0.5, 0.5]])
LOG_B = np.array([[-0.5, 0.1, 0.4], [4.5, 4.5, 4.5], [2.0, 2.0, 2.0]])
CURVES = mixture_curves(FORMS, WEIGHTS, A, LOG_B)


def exact_survival(row, x):
    b = np.exp(LOG_B[row])
    return float(np.sum(WEIGHTS[row] * (b / (b + x**SHAPES)) ** A[row]))


@pytest.mark.parametrize("row", range(3))
@pytest.mark.parametrize("x", [0.02, 0.1, 0.55, 1.0, 1.9, 6.0])
def test_the_table_agrees_with_the_closed_form(row, x):
    hazard, _ = CURVES.hazard(np.array([row]), np.array([x]))

    assert hazard[0] == pytest.approx(-np.log(exact_survival(row, x)), rel=4e-3)


@pytest.mark.parametrize("x", [0.02, 0.4, 1.0, 2.5])
def test_both_kinds_of_law_mix_as_their_chances_do(x):
    """Against scipy's normal law beside the closed form of Weibull's."""
    forms = [WeibullForm(3.0), LognormalForm(0.3)]
    weights = np.array([[0.3, 0.7]])
    one, two = np.array([[2.0, 0.1]]), np.array([[0.5, 0.4]])

    hazard, _ = mixture_curves(forms, weights, one, two).hazard(np.array([0]), np.array([x]))

    weibull = (1 + x**3 / np.exp(0.5)) ** -2.0
    lognormal = stats.norm.sf(np.log(x), 0.1, 0.4)
    assert hazard[0] == pytest.approx(-np.log(0.3 * weibull + 0.7 * lognormal), rel=4e-3)


def test_an_age_of_nothing_has_no_hazard_and_a_huge_one_a_finite_one():
    hazard, slope = CURVES.hazard(np.arange(3), np.zeros(3))
    far, _ = CURVES.hazard(np.arange(3), np.full(3, 1e9))

    assert np.all(hazard < 1e-200)
    assert np.all(slope > 0)
    assert np.all(np.isfinite(far))


@pytest.mark.parametrize("more", [0.0, 0.7, 20.0])
def test_the_way_ahead_meets_its_target_whatever_the_age(more):
    rng = np.random.default_rng(1)
    n = 4000
    edges = Edges(
        rng.integers(0, 3, n),
        np.where(rng.random(n) < 0.2, 0.0, np.exp(rng.normal(0, 2, n))),
        np.where(rng.random(n) < 0.2, 0.0, rng.uniform(0.5, 50, n)),
        np.exp(rng.normal(3, 3, n)),
        np.where(rng.random(n) < 0.2, 0.0, np.exp(rng.normal(-1, 2, n))),
        more,
    )
    target = np.exp(rng.uniform(-12, 3, n))

    ahead = ahead_for_hazard(CURVES, edges, target)

    assert np.all(np.isfinite(ahead) & (ahead > 0))
    assert edges.hazard_ahead(CURVES, ahead) == pytest.approx(target, rel=1e-6)


def test_the_way_ahead_meets_its_target_on_a_curve_steep_only_in_its_middle():
    # Newton's steps from either flat end swing past the steep middle to the other end; that
    # breakage flattens out early makes them swing longest.
    steepness = np.array([2.0, 8.0, 30.0])
    rise = np.where(np.abs(GRID[1:]) < 0.1, steepness[:, None], 0.3) * np.diff(GRID)
    log_hazard = np.cumsum(np.hstack([np.full((3, 1), -4.0), rise]), axis=1)
    curves = Curves(np.zeros(3), log_hazard)
    n = 3000
    edges = Edges(np.arange(n) % 3, np.zeros(n), np.full(n, 2.0), np.full(n, 0.05), np.zeros(n))
    target = np.exp(np.linspace(-5, 5, n))

    ahead = ahead_for_hazard(curves, edges, target)

    assert log_hazard.shape == (3, NODES)
    assert edges.hazard_ahead(curves, ahead) == pytest.approx(target, rel=1e-9)


def test_a_young_edge_breaks_more_often_until_it_is_young_no_more():
    one = np.ones(1)
    edges = Edges(np.zeros(1, dtype=np.int64), 0 * one, 3 * one, 50 * one, 0.1 * one, 4.0)
    ahead = np.array([[0.05, 0.1, 0.3]])

    # five times the exposure up to 0.1, as much as comes after it
    by_hand = 3 * np.log1p(np.array([[0.25, 0.5, 0.7]]) / 50)
    assert edges.breaks_ahead(ahead) == pytest.approx(by_hand)
    for way, hazard in zip(ahead[0], by_hand[0], strict=True):
        assert edges.until_breaks(np.array([hazard])) == pytest.approx(way)
    for way in (0.04, 0.2):
        step = edges.breaks_ahead(np.array([way + 1e-6])) - edges.breaks_ahead(np.array([way]))
        assert edges.break_rate(np.array([way])) == pytest.approx(step / 1e-6, rel=1e-5)


def test_chunks_of_many_keys_give_the_same_tables():
    many = mixture_curves(
        FORMS, np.tile(WEIGHTS, (3000, 1)), np.tile(A, (3000, 1)), np.tile(LOG_B, (3000, 1))
    )

    assert np.array_equal(many.log_hazard[-3:], CURVES.log_hazard)
