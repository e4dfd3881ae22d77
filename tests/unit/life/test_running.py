"""Edges that still cut tell their key of lives, and count once in their own forecast."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from crib.arrays import Floats
from crib.life.fitting import ALWAYS_ANEW, fit_life_model
from crib.life.kept_curves import MOST_KEPT
from crib.life.law import FORMS
from crib.life.model import LifeModel
from crib.life.observations import LAND_SEEN, LifeHistories, life_histories
from crib.life.pooling import key_table
from crib.life.running import counted_wear
from crib.life.shapes import law_prior, normalised, widened
from crib.life.signs import edge_signs
from crib.life.weibull_form import WeibullForm

PROBS = (0.1, 0.5, 0.9)
ONE = key_table([0], [0], [0])
NONE = life_histories([], [], [], [])
#: Hardly any breakage: the grid has none.
WPP = 1e-9


def worn(ages: Sequence[float], key: int = 0) -> LifeHistories:
    return life_histories([key] * len(ages), ages, [0] * len(ages), [1] * len(ages))


def still(ages: Sequence[float], key: Sequence[int] | int = 0, **more: object) -> LifeHistories:
    keys = np.broadcast_to(key, len(ages))
    return life_histories(keys, ages, np.zeros(len(ages)), np.zeros(len(ages)), **more)


def by_grid(others: Sequence[float], ended: Sequence[float], age: float) -> Floats:
    """Quantiles of the life left by the exact posterior over ln scale and shape.

    Lives under a normal prior of deviation 0.4 and the prior of laws (chances by scipy);
    the others have lived to their ages, those that ended did so at theirs.
    """
    u = np.linspace(-2, 3, 601)
    ahead = np.linspace(0, 5, 401)
    prior = widened(normalised(law_prior()[None, :]))[0]
    alive = []
    for form, weight in zip(FORMS, prior, strict=True):
        if isinstance(form, WeibullForm):
            law = stats.weibull_min(form.shape, scale=np.exp(u))
        else:
            law = stats.lognorm(form.sd, scale=np.exp(u))
        log_p = np.log(weight) - 0.5 * (u / 0.4) ** 2
        log_p = log_p + sum(law.logsf(x) for x in (*others, *ended))
        log_p = log_p + sum(law.logpdf(x) - law.logsf(x) for x in ended)
        p = np.exp(log_p)
        alive.append([(p * law.sf(age + s)).sum() for s in ahead])
    living = np.sum(alive, axis=0)
    return np.interp(-(1 - np.array(PROBS)), -living / living[0], ahead)


def left(model: LifeModel, age: float, own: int = -1) -> Floats:
    return model.remaining(0, age, WPP, PROBS, edge_signs(own=own))[0]


CASES = [
    ([1.26, 1.26, 0.5, 0.5], [1.4]),
    ([1.0, 0.79, 0.63], [0.9, 1.1, 1.3, 1.0, 0.8, 1.2]),
    ([0.5, 1.0], [1.2, 1.3, 1.1, 1.25]),
]


@pytest.mark.parametrize(("ages", "ended"), CASES)
def test_the_edge_asked_about_counts_once_and_all_others_count(
    ages: list[float], ended: list[float]
) -> None:
    model = fit_life_model(ONE, worn(ended)).beside(still(ages))

    for own, age in enumerate(ages):
        others = [x for place, x in enumerate(ages) if place != own]
        found, twice = left(model, age, own)[1], left(model, age)[1]
        right, right_twice = by_grid(others, ended, age)[1], by_grid(ages, ended, age)[1]
        # left in, it counts by its age and as a life of its key; so much is taken out again
        assert np.log(found / twice) == pytest.approx(np.log(right / right_twice), abs=0.03)
        assert found == pytest.approx(right, rel=0.08)
    new = left(model, 0.0)
    assert new[1] == pytest.approx(by_grid(ages, ended, 0.0)[1], rel=0.05)


def test_taking_an_edge_out_is_as_if_it_had_never_been_counted() -> None:
    table = key_table([0, 0, 1], [0, 0, 1], [0, 0, 0])
    ended = life_histories([0, 0, 1], [1.0, 1.3, 0.8], [0] * 3, [1, 0, 1], lot=[4, 5, 4])
    key, ages, lots = [0, 0, 1, 0], [1.26, 0.5, 1.0, 1.6], [4, -1, 4, 5]
    bare = fit_life_model(table, ended)
    model = bare.beside(still(ages, key, lot=lots))

    for own, age in enumerate(ages):
        rows = np.arange(4) != own
        others = bare.beside(still(ages, key, lot=lots).take(rows))
        mine, plain = edge_signs(lots[own], own=own), edge_signs(lots[own])
        found = model.remaining(key[own], age, WPP, PROBS, mine)
        assert found == pytest.approx(others.remaining(key[own], age, WPP, PROBS, plain))
        assert model.fail_probability(key[own], age, 0.2, WPP, mine) == pytest.approx(
            others.fail_probability(key[own], age, 0.2, WPP, plain)
        )


@pytest.mark.parametrize("lot", [-1, 3])
def test_an_edge_alone_is_forecast_as_if_it_were_not_counted(lot: int) -> None:
    ended = life_histories([0] * 4, [1.0, 1.1, 0.9, 1.2], [0] * 4, [1] * 4, lot=[1, 1, 2, 2])
    bare = fit_life_model(ONE, ended)
    model = bare.beside(still([1.0], lot=[lot]))

    mine, costs = edge_signs(lot, own=0), (10.0, 80.0, 1e-4)

    for ask in ("remaining", "swap_age"):
        numbers = (1.0, 1e-4, PROBS) if ask == "remaining" else costs
        found = getattr(model, ask)(0, *numbers, signs=mine)
        alone = getattr(bare, ask)(0, *numbers, signs=edge_signs(lot))
        counted = getattr(model, ask)(0, *numbers, signs=edge_signs(lot))
        assert np.ravel(found[0]) == pytest.approx(np.ravel(alone[0]), rel=1e-6)
        assert not np.allclose(np.ravel(counted[0]), np.ravel(alone[0]), rtol=1e-3)


def test_an_edge_that_was_looked_at_is_judged_by_what_the_others_say() -> None:
    bare = fit_life_model(ONE, worn([1.0, 1.1, 0.9, 1.2]))
    model = bare.beside(still([1.0]))
    looked = {"seen_share": 0.6, "seen_at": 0.9, "seen_kind": LAND_SEEN}

    found = model.remaining(0, 1.0, WPP, PROBS, edge_signs(**looked, own=0))

    assert found[0] == pytest.approx(
        bare.remaining(0, 1.0, WPP, PROBS, edge_signs(**looked))[0]
    )


def test_an_edge_that_is_little_of_its_key_is_left_in_its_own_forecast() -> None:
    model = fit_life_model(ONE, worn(np.linspace(0.7, 1.3, 30).tolist()))
    model = model.beside(still([1.0, 2.0]))

    assert model.running.much.tolist() == [False, True]
    assert left(model, 1.0, own=0) == pytest.approx(left(model, 1.0), rel=1e-12)
    assert left(model, 2.0, own=1)[1] < left(model, 2.0)[1]


def test_keys_learn_from_the_running_edges_of_like_keys_where_a_shop_is_young() -> None:
    table = key_table([0, 0, 0, 0], [0] * 4, [0] * 4)
    bare = fit_life_model(table, NONE)
    model = fit_life_model(table, NONE, running=still([1.6] * 4, [0, 1, 2, 3]))

    mine = edge_signs(own=np.arange(4))
    found = model.remaining(np.arange(4), 1.6, WPP, 0.5, mine)[:, 0]

    assert np.ptp(found) < 1e-6
    # each is without its own share, and yet knows that three others have come as far
    new, before = (one.remaining(0, 0.0, WPP, 0.5)[0, 0] for one in (model, bare))
    alone = bare.beside(still([1.6])).remaining(0, 0.0, WPP, 0.5)[0, 0]
    assert new > alone > before


def test_running_edges_are_no_lives_that_ended() -> None:
    model = fit_life_model(ONE, worn([1.0, 1.1]), running=still([1.0, 1.26]))

    basis = model.basis(0)

    assert (basis.worn.tolist(), basis.censored.tolist()) == ([2], [0])
    assert len(model.histories) == 2


def test_the_way_to_a_model_does_not_matter() -> None:
    table = key_table([0, 0, 1], [0, 0, 1], [0, 0, 0])
    rng = np.random.default_rng(4)
    key = rng.integers(0, 3, 450)
    ended = life_histories(key, np.exp(0.3 * rng.standard_normal(450)), [0] * 450, [1] * 450)
    keys = np.arange(3)
    before = None
    for count in (0, 3, 40, 41, ALWAYS_ANEW, 430, 450):
        on = still(counted_wear(0.3 + rng.random(6)).tolist(), rng.integers(0, 3, 6))
        lives = ended.take(np.arange(count))
        before = fit_life_model(table, lives, before=before, running=on)
        anew = fit_life_model(table, lives, running=on)
        mine = edge_signs(own=[0, 1, 2])
        told = before.remaining(on.key_index[:3], 0.3, WPP, 0.5, mine)
        assert told == pytest.approx(
            anew.remaining(on.key_index[:3], 0.3, WPP, 0.5, mine), rel=1e-9
        )
        assert before.remaining(keys, 0.0, WPP, 0.5) == pytest.approx(
            anew.remaining(keys, 0.0, WPP, 0.5), rel=1e-9
        )


def test_nothing_is_worked_out_again_while_no_edge_is_a_step_older() -> None:
    on = still([1.0, 0.5])
    first = fit_life_model(ONE, worn([1.0]), running=on)

    assert first.beside(still([1.0, 0.5]), pooled=first.running.pooled) is first
    assert first.beside(still([1.26, 0.5]), pooled=first.running.pooled) is not first


def test_an_edge_of_ten_lives_is_not_believed_until_somebody_looked() -> None:
    bare = fit_life_model(ONE, worn([1.0, 1.1]))
    model = bare.beside(still([10.1, 9.0]))

    assert model.running.doubted.tolist() == [True, False]
    assert model.running.counts.tolist() == [False, True]
    assert left(model, 10.1, own=0) == pytest.approx(left(model, 10.1), rel=1e-12)
    # where edges agree on their life it is five times that
    agreed = fit_life_model(ONE, worn([0.5, 0.55, 0.6] * 3)).beside(still([2.6, 3.0]))
    assert agreed.running.doubted.tolist() == [False, True]


def test_a_shop_of_very_many_lonely_edges_counts_none_that_needs_a_curve_of_its_own() -> None:
    count = MOST_KEPT
    table = key_table(np.zeros(count + 1), np.zeros(count + 1), np.zeros(count + 1))
    bare = fit_life_model(table, NONE)
    crowd = [count] * 30  # these are little of their key each

    model = bare.beside(still([1.0] * (count + 30), [*range(count), *crowd]))

    assert not model.running.much.any()
    assert model.running.counts[count:].all()
    assert not model.running.counts[:count].any()


@given(st.floats(0.0, 200.0))
def test_the_wear_that_counts_is_never_more_and_little_less(wear: float) -> None:
    counted = float(counted_wear(wear))

    if wear < 0.25:
        assert counted == 0.0
    else:
        assert wear / 2 ** (1 / 3) * (1 - 1e-9) <= counted <= wear * (1 + 1e-9)
        assert float(counted_wear(counted)) == counted
