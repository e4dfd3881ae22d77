"""Breakage is pooled from the shop to the key."""

import numpy as np
import pytest

from crib.life.breakage import PRIOR_PER_LIFE, fit_breakage
from crib.life.observations import BROKEN, CENSORED, life_histories, no_histories

OPERATION = np.array([0, 0, 1, 1])
ITEM = np.array([0, 1, 2, 3])


def rate(breakage, key, wear_per_part=0.01):
    return float(
        breakage.alpha[key]
        / breakage.exposure_wear(np.array([key]), np.array([wear_per_part]))[0]
    )


def test_without_lives_every_key_has_the_usual_chance():
    breakage = fit_breakage(no_histories(), (OPERATION, ITEM), np.ones(4))

    for key in range(4):
        assert rate(breakage, key) == pytest.approx(PRIOR_PER_LIFE)


def test_breaks_of_a_key_raise_it_most_its_like_less_and_strangers_least():
    lives = life_histories([0] * 20, [0.5] * 20, [50] * 20, [BROKEN] * 10 + [CENSORED] * 10)

    breakage = fit_breakage(lives, (OPERATION, ITEM), np.ones(4))

    own, alike, stranger = (rate(breakage, key) for key in (0, 1, 2))
    assert own > alike > stranger > PRIOR_PER_LIFE


def test_many_parts_speak_for_themselves():
    lives = life_histories(
        [0] * 1000, [1.0] * 1000, [100] * 1000, [BROKEN] * 200 + [CENSORED] * 800
    )

    breakage = fit_breakage(lives, (OPERATION, ITEM), np.ones(4))

    assert rate(breakage, 0) == pytest.approx(0.2, rel=0.02)
