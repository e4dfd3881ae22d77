"""Absurd ages are kept out and named; sound ones stay."""

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.aside import set_aside, yardstick
from crib.life.observations import (
    BROKEN,
    CENSORED,
    WORN,
    by_label,
    life_histories,
)


def lives(wear, ended, key=0):
    wear = np.asarray(wear, dtype=float)
    return life_histories(np.full(len(wear), key), wear, 100 * np.abs(wear), ended)


def judged(histories, promised):
    return set_aside(histories, yardstick(histories, promised))


def test_a_life_over_a_hundred_promises_is_kept_out_and_named():
    kept, aside = judged(lives([0.8, 150.0], [WORN, WORN]), np.ones(1))

    assert kept.wear.tolist() == [0.8]
    assert (aside[0].row, aside[0].wear) == (1, 150.0)
    assert "100 times" in aside[0].reason


def test_a_life_ten_times_the_rest_is_asked_about():
    kept, aside = judged(lives([0.8, 1.0, 0.9, 9.0], [WORN] * 4), np.ones(1))

    assert len(kept) == 3
    assert "5 times" in aside[0].reason


@pytest.mark.parametrize(("age", "words"), [(1e15, "5 times"), (1e-12, "1/1000")])
def test_a_promise_is_never_wrong_by_a_million_however_many_lives_say_so(age, words):
    kept, aside = judged(lives([age] * 20, [WORN] * 20), np.ones(1))

    assert len(kept) == 0
    assert all(words in one.reason for one in aside)


def test_lives_that_agree_with_each_other_are_believed_against_the_promise():
    ages = np.linspace(120, 180, 8)

    kept, aside = judged(lives(ages, [WORN] * 8), np.ones(1))

    assert len(kept) == 8
    assert not aside


def test_early_failures_do_not_make_a_promised_life_absurd():
    kept, _ = judged(lives([0.1, 0.1, 0.12, 1.0], [WORN] * 4), np.ones(1))

    assert len(kept) == 4


def test_one_that_failed_at_once_is_no_wear_but_one_taken_out_at_once_is_harmless():
    kept, aside = judged(lives([1e-5, 1e-5, 1e-5], [WORN, BROKEN, CENSORED]), np.ones(1))

    assert kept.ended.tolist() == [CENSORED]
    assert [a.row for a in aside] == [0, 1]


def test_ages_that_are_no_numbers_are_kept_out():
    kept, aside = judged(lives([np.nan, -1.0, np.inf, 0.5], [WORN] * 4), np.ones(1))

    assert kept.wear.tolist() == [0.5]
    assert len(aside) == 3


def test_no_lives_are_no_trouble():
    kept, aside = judged(life_histories([], [], [], []), np.ones(2))

    assert len(kept) == 0
    assert aside == []


def test_unequal_columns_and_unknown_endings_are_refused():
    with pytest.raises(OutsideModel, match="one key"):
        life_histories([0, 0], [1.0], [1.0], [1])
    with pytest.raises(OutsideModel, match="0, 1 or 2"):
        life_histories([0], [1.0], [1.0], [3])


def test_six_short_lives_are_a_yardstick_of_their_own():
    kept, aside = judged(lives([0.05] * 7 + [0.5], [WORN] * 8), np.ones(1))

    assert len(kept) == 7
    assert aside[0].wear == 0.5


@pytest.mark.parametrize("most", [3, 65_535, 65_536, 10**9])
def test_labels_are_ordered_and_equal_ones_stay_as_they_were(most):
    label = np.random.default_rng(2).choice([0, 1, most - 1, most], 500)

    order = by_label(label)

    assert order.tolist() == sorted(range(500), key=lambda row: (label[row], row))
