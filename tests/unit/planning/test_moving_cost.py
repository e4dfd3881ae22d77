"""What moving a swap costs: the tables against quadrature and against the model's own count."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import integrate

from crib.life.fitting import fit_life_model
from crib.life.observations import WORN, life_histories
from crib.life.pooling import key_table
from crib.planning.moving_cost import moving_cost

ROWS = np.arange(3)


@pytest.fixture(scope="module")
def case():
    lives = np.random.default_rng(7).weibull(3.0, 120)
    model = fit_life_model(
        key_table([0], [0], [0]),
        life_histories(np.zeros(120), lives, lives * 1000, np.full(120, WORN)),
    )
    key, rate = np.zeros(3, dtype=np.int64), np.full(3, 0.001)
    planned, failure = np.array([20.0, 20.0, 60.0]), np.array([80.0, 400.0, 240.0])
    best, cost_rate, _ = model.swap_age(key, planned, failure, rate)
    moving = moving_cost(model, key, planned, failure, rate, best, cost_rate)
    return SimpleNamespace(**locals())


def _by_quadrature(case, row, age, other):
    """``integral_age^other (h (cf - cp) - g*) S`` of an edge alive at the younger one."""
    young, old = min(age, other), max(age, other)

    def alive(x):
        return float(case.model.survival(0, young, x - young, 0.001))

    lived, _ = integrate.quad(alive, young, old, limit=200)
    extra = float(case.failure[row] - case.planned[row])
    cost = extra * (1 - alive(old)) - float(case.cost_rate[row]) * lived
    return cost if other > age else -cost


@pytest.mark.parametrize("share", [0.1, 0.5, 0.8, 0.95, 1.0, 1.1, 1.5, 1.9])
def test_the_tables_say_what_quadrature_says(case, share):
    found = case.moving.between(ROWS, case.best, share * case.best)

    for row in ROWS:
        expected = _by_quadrature(case, row, float(case.best[row]), share * case.best[row])
        assert found[row] == pytest.approx(expected, abs=0.002 * case.planned[row])


def test_no_age_costs_less_than_the_best_one(case):
    for share in np.linspace(0.05, 2.0, 40):
        found = case.moving.between(ROWS, case.best, share * case.best)
        assert (found >= -0.001 * case.planned).all()


def test_the_model_counts_the_same_cost_of_waiting(case):
    shares = np.array([0.2, 0.6, 1.3])
    waits = case.model.swap_cost(
        case.key,
        np.zeros(3),
        shares * case.best[:, None],
        case.planned,
        case.failure,
        case.rate,
    )
    alive = case.model.survival(
        case.key[:, None], np.zeros((3, 3)), np.minimum(shares, 1) * case.best[:, None], 0.001
    )

    for column, share in enumerate(shares):
        found = case.moving.between(ROWS, case.best, share * case.best) * alive[:, column]
        assert found == pytest.approx(waits[:, column], abs=0.01 * float(case.planned.max()))


def test_edges_as_dear_in_planned_swaps_share_a_table(case):
    # 20 against 80 is as 60 against 240: one table, three times the money
    assert case.moving.case[0] == case.moving.case[2] != case.moving.case[1]
    early = case.moving.between(ROWS, case.best, 0.7 * case.best)
    assert early[2] == pytest.approx(3 * early[0], rel=1e-9)


def test_due_now_has_no_earlier(case):
    earlier, later = case.moving.steps(ROWS, case.best, case.best)

    assert np.isnan(earlier).all()
    assert (later > 0).all()
