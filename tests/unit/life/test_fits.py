"""What is said of how well lives fit their curve. The shops are invented."""

from __future__ import annotations

import numpy as np
import pytest

from crib.life.fits import (
    FEWER_EARLY,
    FITS,
    LONGER,
    MORE_EARLY,
    NO_LAW,
    SHORTER,
    TOO_FEW,
    TWO,
    fit_of_key,
)
from crib.life.fitting import fit_life_model
from crib.life.observations import CENSORED, WORN, life_histories
from crib.life.pooling import key_table

WPP = 0.01


def model_of(ages, ended=WORN, *, running=(), sure=None, **prior):
    ages = np.asarray(ages, dtype=float)
    ends = np.broadcast_to(ended, ages.shape)
    lives = life_histories(np.zeros(len(ages)), ages, 100 * ages, ends, sure=sure)
    cutting = np.asarray(running, dtype=float)
    on = life_histories(0 * cutting, cutting, 100 * cutting, 0 * cutting)
    return fit_life_model(key_table([0], [0], [0], **prior), lives, running=on)


def judged(ages, ended=WORN, **prior):
    return fit_of_key(model_of(ages, ended, **prior), 0, WPP)


def drawn(number, shape=4.0, seed=1):
    return np.random.default_rng(seed).weibull(shape, number)


def test_lives_of_one_law_fit_their_curve():
    found = judged(drawn(60))

    assert found.verdict == FITS
    assert 58 <= found.lives == found.worn  # one or two extremes are doubted
    assert found.expected == pytest.approx(60, rel=0.25)


def test_a_few_edges_say_nothing():
    assert judged(drawn(7)).verdict == TOO_FEW
    assert judged([]).verdict == TOO_FEW
    assert judged(np.full(30, 0.5), CENSORED).verdict == TOO_FEW


def test_two_groups_are_told_with_their_lives():
    half = drawn(60, 8.0)
    half[::2] /= 2

    found = judged(half)

    assert found.verdict == TWO
    median = np.log(2) ** (1 / 8)
    assert found.longer == pytest.approx(median, rel=0.1)
    assert found.shorter == pytest.approx(median / 2, rel=0.1)
    assert found.share == pytest.approx(0.5, abs=0.1)


def test_lives_that_no_law_has_are_told():
    # all but two at one age: too sharp for any law, and two odd ones out are no group
    ages = np.r_[np.exp(0.004 * np.random.default_rng(3).standard_normal(40)), 0.5, 0.55]

    assert judged(ages).verdict == NO_LAW


@pytest.mark.parametrize(
    ("factor", "verdicts"), [(0.4, (MORE_EARLY, SHORTER)), (2.5, (FEWER_EARLY, LONGER))]
)
def test_a_curve_that_does_not_follow_the_lives_is_told(factor, verdicts):
    found = judged(factor * drawn(40), prior_sd=0.01)

    assert found.verdict in verdicts
    assert (found.failed < found.expected) == (factor > 1)


def test_running_edges_count_as_having_lasted():
    alone = judged(drawn(30))
    beside = judged(drawn(30), running=[1.2] * 5)

    assert beside.expected > alone.expected
    assert beside.lives == alone.lives == 30


def test_doubted_lives_have_no_say():
    found = judged([*drawn(30), 300.0, 320.0, 310.0])

    assert (found.verdict, found.lives) == (FITS, 30)


def test_a_doubted_life_that_a_person_is_sure_of_has_its_say():
    ages = [*drawn(30), 300.0]
    sure = np.arange(31) == 30

    assert judged(ages, sure=sure).lives == 31


def test_a_failure_that_nobody_saw_counts_in_the_middle():
    ages = drawn(30)
    lives = life_histories(0 * ages, ages, 100 * ages, WORN + 0 * ages, since=ages / 3)
    model = fit_life_model(key_table([0], [0], [0]), lives)

    seen = fit_of_key(model_of(ages), 0, WPP)
    unseen = fit_of_key(model, 0, WPP)

    assert unseen.verdict == seen.verdict == FITS


def test_sound_keys_of_a_shop_are_hardly_ever_called_wrong():
    keys, lives, wrong = 20, 20, 0
    for seed in range(2):
        rng = np.random.default_rng(seed)
        key = np.repeat(np.arange(keys), lives)
        scale = np.exp(0.3 * rng.standard_normal(keys))[key]
        ages = rng.weibull(4.0, len(key)) * scale
        order, number = rng.permutation(len(key)), np.arange(keys)
        histories = life_histories(key[order], ages[order], 100 * ages[order], WORN + 0 * key)
        model = fit_life_model(key_table(number, 0 * number, 0 * number), histories)
        wrong += sum(fit_of_key(model, one, WPP).verdict != FITS for one in range(keys))

    assert wrong <= 0.05 * 2 * keys


def test_lives_from_before_a_change_are_no_second_group():
    found = judged(np.r_[drawn(60), 0.4 * drawn(40, seed=2)])

    assert found.verdict == FITS
    assert found.lives == pytest.approx(40, abs=4)
