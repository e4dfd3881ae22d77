"""One more life costs the same however many there were, and the way there does not matter."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.life import fitting
from crib.life.fitting import ALWAYS_ANEW, fit_life_model, settled_count
from crib.life.observations import LifeHistories, life_histories
from crib.life.pooling import key_table

TABLE = key_table([0, 1, 2, 2], [0, 0, 1, 1], [0, 1, 0, 1], [0, 0, 1, 1])


def shop(number, seed=0, absurd=False):
    rng = np.random.default_rng(seed)
    key = rng.integers(0, 4, number)
    wear = rng.weibull(3, number) * np.exp(rng.normal(0, 0.3, 4))[key]
    if absurd:
        wear[-1] = 500.0
    kind = rng.integers(0, 3, number)
    return life_histories(
        key,
        wear,
        100 * wear,
        rng.choice([0, 1, 1, 2], number),
        lot=rng.integers(-1, 9, number),
        since=np.where(rng.random(number) < 0.2, 0.8 * wear, np.nan),
        seen_share=np.where(kind > 0, rng.uniform(0.3, 1.1, number), np.nan),
        seen_kind=kind,
    )


def part(lives: LifeHistories, start, end):
    return lives.take(np.arange(start, end))


def answers(model):
    keys, ages = np.arange(4), np.array([0.0, 0.2, 0.7, 1.5])
    return np.concatenate(
        [
            model.remaining(keys, ages, 0.01).ravel(),
            *model.swap_age(keys, 10, 80, 0.01),
            model.basis(keys).life_p50,
            model.basis(keys).worn,
        ]
    )


@pytest.mark.parametrize("number", [ALWAYS_ANEW + 5, 700])
def test_a_model_that_went_on_life_by_life_equals_one_made_anew(number):
    lives = shop(number)
    model = fit_life_model(TABLE, part(lives, 0, settled_count(number)))

    for count in range(settled_count(number) + 1, number + 1):
        model = fit_life_model(TABLE, part(lives, 0, count), before=model)

    anew = fit_life_model(TABLE, lives)
    assert answers(model) == pytest.approx(answers(anew), rel=1e-9)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 60), st.integers(1, 40), st.integers(0, 9))
def test_lives_added_in_any_pieces_give_the_same(start, step, seed):
    lives = shop(90, seed)
    whole = fit_life_model(TABLE, part(lives, 0, 30)).after(part(lives, 30, 90))
    model = fit_life_model(TABLE, part(lives, 0, 30)).after(part(lives, 30, 30 + start))

    for first in range(30 + start, 90, step):
        model = model.after(part(lives, first, min(first + step, 90)))

    assert answers(model) == pytest.approx(answers(whole), rel=1e-9)


def test_lives_added_tell_nearly_what_they_tell_when_all_is_learned_anew(monkeypatch):
    lives = shop(419)
    added = fit_life_model(TABLE, lives)
    monkeypatch.setattr(fitting, "ALWAYS_ANEW", 10_000)
    anew = fit_life_model(TABLE, lives)

    assert added.settled == 400
    assert anew.settled == 419
    assert answers(added) == pytest.approx(answers(anew), rel=0.06)


def test_many_lives_added_to_a_few_move_the_model_to_where_they_lie():
    lives = shop(120)
    few = fit_life_model(TABLE, part(lives, 0, 20))

    added, anew = few.after(part(lives, 20, 120)), fit_life_model(TABLE, lives)

    here, there = added.basis(np.arange(4)), anew.basis(np.arange(4))
    assert here.worn.tolist() == there.worn.tolist()
    assert here.broken.tolist() == there.broken.tolist()
    assert here.life_p50 == pytest.approx(there.life_p50, rel=0.11)
    assert here.life_p10 == pytest.approx(there.life_p10, rel=0.25)


def test_a_model_of_other_lives_is_not_gone_on_from():
    lives, others = shop(405), shop(405, seed=1)

    model = fit_life_model(TABLE, lives, before=fit_life_model(TABLE, others))

    assert answers(model) == pytest.approx(answers(fit_life_model(TABLE, lives)), rel=1e-12)


def test_a_model_that_goes_on_is_not_fitted_anew(monkeypatch):
    lives = shop(405)
    before = fit_life_model(TABLE, part(lives, 0, 404))
    monkeypatch.setattr(fitting, "fit_posterior", None)

    after = fit_life_model(TABLE, lives, before=before)

    assert len(after.histories) == 405


def test_curves_kept_by_a_model_never_answer_for_one_that_went_on_from_it():
    lives, narrow, wide = shop(405), np.array([1, 1, 1.2, 1]), np.array([1, 2.5, 1, 1.5])
    before = fit_life_model(TABLE, part(lives, 0, 404), narrow)
    answers(before)

    for count, widening in ((404, wide), (405, wide), (404, None), (405, narrow)):
        after = fit_life_model(TABLE, part(lives, 0, count), widening, before=before)
        anew = fit_life_model(TABLE, part(lives, 0, count), widening)
        assert answers(after) == pytest.approx(answers(anew), rel=1e-12)
        before = after if count == 404 else before


def test_a_key_table_that_grew_is_fitted_anew():
    lives = shop(405)
    before = fit_life_model(TABLE, lives)
    answers(before)
    grown = key_table([0, 1, 2, 2, 3], [0, 0, 1, 1, 1], [0, 1, 0, 1, 0], [0, 0, 1, 1, 0])

    model = fit_life_model(grown, lives, before=before)

    keys, anew = np.arange(5), fit_life_model(grown, lives)
    left = model.remaining(keys, 0.2, 0.01)
    assert left == pytest.approx(anew.remaining(keys, 0.2, 0.01))


def test_an_absurd_life_among_the_added_is_named_by_its_number():
    model = fit_life_model(TABLE, shop(404, absurd=True))

    assert [one.row for one in model.aside] == [403]


def test_a_new_box_and_a_known_one_go_on_too():
    lives = shop(ALWAYS_ANEW + 2)
    for column in fields(lives):
        if column.name == "lot":
            lives.lot[-2:] = (50, lives.lot[0])
            lives.seen_kind[-2:] = 0

    model = fit_life_model(TABLE, lives)

    assert np.all(np.isfinite(answers(model)))
    assert model._wear.scales.cells.find(lives.key_index[-2:], np.array([50, 51])).min() == -1
    assert model._wear.scales.cells.find(lives.key_index[-2:-1], np.array([50])) >= 0


def test_settled_numbers_grow_by_a_twentieth():
    counts = {settled_count(n) for n in range(ALWAYS_ANEW, 3 * ALWAYS_ANEW)}

    assert all(settled_count(n) == n for n in range(ALWAYS_ANEW + 1))
    steps = np.diff(sorted(counts)) / np.array(sorted(counts))[:-1]
    assert np.all((steps > 0.04) & (steps < 0.055))
