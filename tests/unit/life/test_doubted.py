"""Which lives are doubted, how far, and what else their records may mean.

The shops are invented; the laws they are drawn from are Weibull's. Chances are worked out
again here by Bayes' rule from densities of scipy.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from crib.life.doubted import ABSURD_AGE, AS_WRITTEN, OTHER_ENDING, TWO_LIVES
from crib.life.fitting import fit_life_model
from crib.life.law import STEEPNESS
from crib.life.observations import BROKEN, CENSORED, WORN, life_histories
from crib.life.pooling import key_table

SHAPE = 4.0


def fitted(ages, ended, since=None):
    lives = life_histories(np.zeros(len(ages)), ages, 100 * np.abs(ages), ended, since=since)
    return fit_life_model(key_table([0], [0], [0]), lives)


def failures(count, seed=3):
    return np.random.default_rng(seed).weibull(SHAPE, count)


def test_a_sound_record_is_believed_as_written():
    found = fitted(failures(30), np.full(30, WORN)).doubts()

    assert not found.doubted.any()
    assert found.instead.tolist() == [WORN] * 30
    assert (found.believed > 0.8).mean() > 0.9


def test_an_absurd_age_is_doubted_altogether():
    found = fitted([*failures(20), 900.0, np.nan], np.full(22, WORN)).doubts()

    assert np.flatnonzero(found.doubted).tolist() == [20, 21]
    assert found.why[20:].tolist() == [ABSURD_AGE, ABSURD_AGE]
    assert found.believed[20:].tolist() == [0.0, 0.0]


def test_twice_the_usual_age_may_be_two_lives():
    taken = 0.6 * np.exp(0.02 * np.random.default_rng(1).standard_normal(60))
    ages = np.concatenate([taken, [1.2]])

    found = fitted(ages, np.full(61, CENSORED)).doubts()

    assert np.flatnonzero(found.doubted).tolist() == [60]
    assert (found.why[60], found.instead[60]) == (TWO_LIVES, CENSORED)
    assert set(found.why[:60]) == {AS_WRITTEN}


def test_a_young_edge_called_worn_was_more_likely_taken_out():
    # usual: taken out at 0.6 by the hundred, hardly any edge wears out by then
    rng = np.random.default_rng(1)
    taken, worn = 0.6 * np.exp(0.02 * rng.standard_normal(360)), np.full(30, 1.5)
    worn *= np.exp(0.1 * rng.standard_normal(30))
    ages = np.concatenate([taken, worn, [0.6]])
    ended = np.concatenate([np.full(360, CENSORED), np.full(31, WORN)])
    model = fitted(ages, ended)

    found = model.doubts()

    assert found.doubted[390]
    assert (found.why[390], found.instead[390]) == (OTHER_ENDING, CENSORED)
    # by Bayes' rule: wear as the law has it, the usual taking out, both as they are written
    wear, habit = model._ended.wear, model._ended.wear.doubts.habit
    steepness, median = np.exp(wear.weights[0] @ np.log(STEEPNESS)), wear.law.usual()[0]
    scale = np.exp(median) / np.log(2) ** (1 / steepness)
    law = stats.weibull_min(steepness, scale=scale)
    of_wear = law.pdf(0.6) / law.sf(0.6) * 0.6
    off, sd = np.log(0.6) - habit.usual[0], habit.spread[0]
    taken_out = (0.8 * stats.norm.pdf(off, 0, sd) + 0.2 / 2.5) / (
        0.8 * stats.norm.sf(off, 0, sd) + 0.2
    )
    wrong, broke = wear.reasons.wrong / 2, wear.reasons.break_rate * 0.6 / np.exp(median)
    right = of_wear * (1 - 2 * wrong)
    expected = right / (right + wrong * (taken_out + broke))
    assert found.believed[390] == pytest.approx(expected, rel=1e-6)


def test_a_failure_that_nobody_saw_is_not_doubted_for_its_reason():
    taken = 0.6 * np.exp(0.05 * np.random.default_rng(1).standard_normal(400))
    ages = np.concatenate([taken, [0.6]])
    ended = np.concatenate([np.full(400, CENSORED), [WORN]])

    seen = fitted(ages, ended).doubts()
    unseen = fitted(ages, ended, since=[*taken, 0.3]).doubts()

    assert seen.doubted[400]
    assert (unseen.believed[400], unseen.why[400]) == (1.0, AS_WRITTEN)


def test_an_edge_called_broken_long_past_its_life_was_more_likely_worn():
    ages = np.concatenate([failures(60), [1.4]])
    found = fitted(ages, np.concatenate([np.full(60, WORN), [BROKEN]])).doubts()

    assert found.doubted[60]
    assert (found.why[60], found.instead[60]) == (OTHER_ENDING, WORN)


def test_lives_added_one_by_one_are_doubted_by_their_own_number():
    ages = np.concatenate([failures(410), [800.0]])
    ended = np.full(411, WORN)
    first = fitted(ages[:410], ended[:410])
    lives = life_histories(np.zeros(411), ages, 100 * ages, ended)
    more = fit_life_model(key_table([0], [0], [0]), lives, before=first)

    found = more.doubts()

    assert more.settled < 411
    assert len(found.believed) == 411
    assert np.flatnonzero(found.why == ABSURD_AGE).tolist() == [410]


def test_without_lives_nothing_is_doubted():
    assert len(fitted([], []).doubts().believed) == 0


def sure_of(model, rows):
    """The same lives fitted again where a person is sure of some."""
    sure = np.zeros(len(model.histories), dtype=bool)
    sure[rows] = True
    return fit_life_model(model.keys, replace(model.histories, sure=sure))


def young_and_double():
    """Edges taken out at 0.6, some worn at 1.5; one worn at 0.6, one taken out at 1.2."""
    rng = np.random.default_rng(1)
    taken = 0.6 * np.exp(0.02 * rng.standard_normal(250))
    worn = 1.5 * np.exp(0.1 * rng.standard_normal(30))
    ended = np.repeat([CENSORED, WORN], [250, 31])
    return fitted([*taken, *worn, 0.6, 1.2], [*ended, CENSORED])


def test_a_life_that_a_person_is_sure_of_counts_as_written():
    model = young_and_double()
    before = model.doubts()

    after = sure_of(model, [280, 281]).doubts()

    assert before.why[280:].tolist() == [OTHER_ENDING, TWO_LIVES]
    assert np.all(before.believed[280:] < 0.9)
    assert after.believed[280:].tolist() == [1.0, 1.0]
    assert after.why[280:].tolist() == [AS_WRITTEN, AS_WRITTEN]


def test_a_failure_that_a_person_is_sure_of_makes_early_failures_likelier():
    model = young_and_double()

    before, after = model.basis(0), sure_of(model, [280]).basis(0)

    assert after.life_p10[0] < 0.99 * before.life_p10[0]


def test_a_sure_fit_is_that_of_lives_of_which_nobody_could_doubt_any():
    # every life sure: each has its full weight, every ending is certain
    model = young_and_double()
    certain = sure_of(model, np.arange(282))
    wear = certain._ended.wear

    endings = wear.endings(certain.histories)

    assert np.all(endings[certain.histories.ended, np.arange(282)] == 1.0)
    assert wear.reasons.wrong < model._ended.wear.reasons.wrong
    assert wear.doubts.turned < model._ended.wear.doubts.turned


def test_an_absurd_age_that_a_person_is_sure_of_is_not_left_out_but_no_number_is():
    model = fitted([*failures(20), 9.0, np.nan], np.full(22, WORN))

    certain = sure_of(model, [20, 21])

    assert [one.row for one in model.aside] == [20, 21]
    assert [one.row for one in certain.aside] == [21]
    assert certain.basis(0).life_p90[0] > model.basis(0).life_p90[0]


def test_wrong_reasons_are_found_and_sound_ones_are_left_alone():
    # shops of 20 keys: shape 4, swapped at 0.9 of a life, every twentieth reason wrong
    rng, keys, lives = np.random.default_rng(4), 20, 40
    key, life = np.repeat(np.arange(keys), lives), rng.weibull(SHAPE, keys * lives)
    taken = 0.9 * np.exp(0.05 * rng.standard_normal(len(key)))
    truly = np.where(life < taken, WORN, CENSORED)
    slip = rng.random(len(key)) < 0.05
    ended = np.where(slip, (truly + rng.integers(1, 3, len(key))) % 3, truly)
    wear, number = np.minimum(life, taken), np.arange(keys)
    histories = life_histories(key, wear, 100 * wear, ended)

    found = fit_life_model(key_table(number, 0 * number, 0 * number), histories).doubts()

    assert not found.doubted[~slip].any()
    assert found.doubted[slip & (ended != CENSORED)].mean() > 0.5
