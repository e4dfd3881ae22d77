"""Reasons written down wrong: how many are found, and how little they move the forecast.

The shops are invented; the laws they are drawn from are Weibull's.
"""

from __future__ import annotations

import numpy as np
import pytest

from crib.life.fitting import fit_life_model
from crib.life.observations import BROKEN, CENSORED, WORN, life_histories
from crib.life.pooling import key_table

KEYS, LIVES = 20, 40


def shop(wrong: float, seed: int = 4):
    """Edges of shape 4 about a life of 1, swapped at 0.9; a share of reasons drawn anew."""
    rng = np.random.default_rng(seed)
    key = np.repeat(np.arange(KEYS), LIVES)
    life = rng.weibull(4.0, len(key))
    count = 0.9 * np.exp(0.05 * rng.standard_normal(len(key)))
    ended = np.where(life < count, WORN, CENSORED)
    slip = rng.random(len(key)) < wrong
    ended = np.where(slip, (ended + rng.integers(1, 3, len(key))) % 3, ended)
    wear = np.minimum(life, count)
    order = rng.permutation(len(key))
    lives = life_histories(key[order], wear[order], 100 * wear[order], ended[order])
    number = np.arange(KEYS)
    return fit_life_model(key_table(number, 0 * number, 0 * number), lives)


@pytest.mark.parametrize(("wrong", "within"), [(0.0, 0.02), (0.15, 0.05)])
def test_how_many_reasons_are_wrong_is_learned(wrong, within):
    told = np.mean([shop(wrong, seed)._wear.reasons.wrong for seed in range(3)])

    assert told == pytest.approx(wrong, abs=within)


def test_wrong_reasons_hardly_move_the_forecast():
    def early(wrong):
        return np.mean([shop(wrong, seed).basis(np.arange(KEYS)).life_p10 for seed in (4, 5)])

    assert early(0.15) == pytest.approx(early(0.0), rel=0.12)


def test_good_edges_called_broken_do_not_make_breaks_common():
    model = shop(0.15)

    share = np.mean(model.histories.ended == BROKEN)
    chance = model.break_probability(np.arange(KEYS), 0.0, 0.9, 0.01).mean()

    assert share > 0.06
    assert chance < 0.03
