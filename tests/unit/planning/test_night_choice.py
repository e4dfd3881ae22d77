"""The cheapest swaps that keep a night: against every subset, up to ten edges."""

import numpy as np
import pytest

from crib.planning.night import allowed_hazard, choose_swaps
from crib.planning.night_choice import cheapest_cover


def _exhaustive(cost, relief, need):
    """The least cost of any subset that takes off enough; None where none does."""
    count = len(cost)
    members = (np.arange(2**count)[:, None] >> np.arange(count)) & 1
    enough = members @ np.array(relief) >= need * (1 - 1e-12)
    return float((members @ np.array(cost))[enough].min()) if enough.any() else None


def _random(rng):
    count = int(rng.integers(1, 11))
    return rng.uniform(0.1, 20, count), rng.exponential(0.01, count)


def test_the_chosen_set_is_seldom_much_dearer_than_the_best_and_never_twice():
    rng = np.random.default_rng(3)
    ratios = []
    for _ in range(400):
        cost, relief = _random(rng)
        need = float(rng.uniform(0.05, 0.98) * relief.sum())
        chosen = cheapest_cover(cost.tolist(), relief.tolist(), need)
        assert relief[chosen].sum() >= need * (1 - 1e-12)
        ratios.append(cost[chosen].sum() / _exhaustive(cost, relief, need))

    assert min(ratios) >= 1 - 1e-12
    assert max(ratios) <= 2
    assert np.mean(ratios) < 1.05
    assert np.mean(np.array(ratios) < 1.001) > 0.5


def test_nothing_needed_takes_nothing_and_too_little_takes_all():
    assert cheapest_cover([1.0, 2.0], [0.1, 0.2], 0.0) == []
    assert cheapest_cover([1.0, 2.0], [0.1, 0.2], 1.0) == [0, 1]


def test_a_swap_that_the_rest_does_without_is_taken_back():
    # by cost per risk the small one goes first; then the large one alone is enough
    assert cheapest_cover([1.0, 50.0, 60.0], [0.1, 1.0, 0.5], 1.0) == [1]


def _choice(kept, fresh, cost, limit=0.02, able=True, machine=None):
    kept, fresh = np.array(kept), np.array(fresh)
    number = np.zeros(len(kept), dtype=np.int64) if machine is None else np.array(machine)
    return choose_swaps(
        number,
        int(number.max()) + 1,
        kept,
        fresh,
        np.array(cost, dtype=float),
        np.broadcast_to(able, kept.shape),
        allowed_hazard(limit),
    )


@pytest.mark.parametrize("seed", range(40))
def test_the_limit_is_kept_whenever_a_set_of_swaps_keeps_it(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 11))
    kept = rng.exponential(0.01, count)
    fresh = kept * rng.uniform(0, 1.2, count)
    cost = rng.uniform(0.1, 20, count)
    choice = _choice(kept, fresh, cost)
    allowed = -np.log1p(-0.02)
    helps = np.maximum(kept - fresh, 0)

    best = _exhaustive(cost, helps, kept.sum() - allowed)
    if kept.sum() <= allowed:
        assert not choice.swap.any()
    elif best is None:
        assert choice.floor[0] > 0.02
    else:
        assert choice.after[0] <= 0.02 * (1 + 1e-9)
        assert cost[choice.swap].sum() <= 2 * best * (1 + 1e-9)
    assert choice.floor[0] <= choice.after[0] * (1 + 1e-9)
    assert choice.after[0] <= choice.before[0] * (1 + 1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_a_limit_of_the_loss_is_kept_whenever_a_set_of_swaps_keeps_it(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 11))
    kept = rng.exponential(0.01, count)
    fresh = kept * rng.uniform(0, 1.2, count)
    cost, failure = rng.uniform(0.1, 20, count), rng.uniform(1_000, 50_000, count)
    allowed = float(rng.uniform(50, 1_500))
    numbers, able = np.zeros(count, dtype=np.int64), np.ones(count, dtype=np.bool_)
    choice = choose_swaps(numbers, 1, kept, fresh, cost, able, allowed, None, failure)
    saved = np.maximum(kept - fresh, 0) * failure
    loss = float((kept * failure).sum())
    after = loss - float(saved[choice.swap].sum())

    best = _exhaustive(cost, saved, loss - allowed)
    if loss <= allowed:
        assert not choice.swap.any()
    elif best is not None:
        assert after <= allowed * (1 + 1e-9)
        assert cost[choice.swap].sum() <= 2 * best * (1 + 1e-9)


def test_a_limit_of_the_loss_swaps_the_edge_that_is_dear_to_lose():
    kept, fresh = np.array([0.03, 0.01]), np.array([0.001, 0.001])
    cost, failure = np.ones(2), np.array([1_000.0, 90_000.0])
    numbers, able = np.zeros(2, dtype=np.int64), np.ones(2, dtype=np.bool_)

    by_chance = choose_swaps(numbers, 1, kept, fresh, cost, able, allowed_hazard(0.02))
    by_loss = choose_swaps(numbers, 1, kept, fresh, cost, able, 200.0, None, failure)

    assert by_chance.swap.tolist() == [True, False]
    assert by_loss.swap.tolist() == [False, True]


def test_chances_are_those_of_independent_edges():
    choice = _choice([0.01, 0.03], [0.001, 0.002], [1.0, 1.0])

    assert choice.before[0] == pytest.approx(1 - np.exp(-0.04))
    assert choice.swap.tolist() == [False, True]
    assert choice.after[0] == pytest.approx(1 - np.exp(-0.012))
    assert choice.floor[0] == pytest.approx(1 - np.exp(-0.003))


def test_where_even_new_edges_fail_only_swaps_that_help_much_remain():
    choice = _choice([0.05, 0.05], [0.04, 0.001], [1.0, 1.0])

    assert choice.swap.tolist() == [False, True]
    assert choice.floor[0] > 0.02


def test_where_the_limit_is_out_of_reach_a_swap_has_to_be_worth_what_it_prevents():
    kept, fresh = np.array([0.05, 0.05, 0.04]), np.array([0.01, 0.01, 0.0392])
    none = np.zeros(3, dtype=np.int64)
    able = np.ones(3, dtype=np.bool_)
    # The first two take off 0.04 of a failure that costs 100 more: worth 12 in the dark.
    given_away = np.array([11.0, 13.0, 0.0])

    choice = choose_swaps(
        none, 1, kept, fresh, given_away, able, allowed_hazard(0.02), np.full(3, 100.0)
    )

    assert choice.swap.tolist() == [True, False, False]
    assert choice.floor[0] > 0.02


def test_an_edge_that_cannot_be_reached_is_not_chosen():
    choice = _choice([0.05, 0.05], [0.001, 0.001], [1.0, 9.0], able=[False, True])

    assert choice.swap.tolist() == [False, True]


def test_each_machine_is_judged_by_its_own_edges():
    choice = _choice([0.015, 0.015, 0.03], [0.001] * 3, [1, 1, 1], machine=[0, 1, 2])

    assert choice.swap.tolist() == [False, False, True]
