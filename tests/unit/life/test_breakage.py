"""Breakage is pooled from the shop to the key."""

import numpy as np
import pytest

from crib.life.breakage import PRIOR_PER_LIFE, YOUNG, fit_breakage
from crib.life.observations import BROKEN, CENSORED, life_histories


def fitted(lives):
    """Breakage of a shop of four keys, every ending taken as it was written."""
    broke = (lives.ended == BROKEN).astype(float)
    return fit_breakage(lives, (OPERATION, ITEM), np.ones(4), broke)


OPERATION = np.array([0, 0, 1, 1])
ITEM = np.array([0, 1, 2, 3])


def rate(breakage, key, wear_per_part=0.01):
    return float(
        breakage.alpha[key]
        / breakage.exposure_wear(np.array([key]), np.array([wear_per_part]))[0]
    )


def test_without_lives_every_key_has_the_usual_chance():
    breakage = fitted(life_histories([], [], [], []))

    for key in range(4):
        assert rate(breakage, key) == pytest.approx(PRIOR_PER_LIFE)


def test_breaks_of_a_key_raise_it_most_its_like_less_and_strangers_least():
    lives = life_histories([0] * 20, [0.5] * 20, [50] * 20, [BROKEN] * 10 + [CENSORED] * 10)

    breakage = fitted(lives)

    own, alike, stranger = (rate(breakage, key) for key in (0, 1, 2))
    assert own > alike > stranger > PRIOR_PER_LIFE


def test_many_parts_speak_for_themselves():
    lives = life_histories(
        [0] * 1000, [1.0] * 1000, [100] * 1000, [BROKEN] * 200 + [CENSORED] * 800
    )

    breakage = fitted(lives)

    assert rate(breakage, 0) == pytest.approx(0.2, rel=0.02)


def _shop(soon, late, rng):
    """600 edges taken out after a promised life, by their break rates while young and on."""
    edges = 600
    at = rng.exponential(1 / soon, edges)
    at = np.where(at < YOUNG, at, YOUNG + rng.exponential(1 / late, edges))
    broke = at < 1
    wear = np.minimum(at, 1.0)
    return life_histories(
        np.arange(edges) % 4, wear, 100 * wear, np.where(broke, BROKEN, CENSORED)
    )


def test_a_break_that_is_half_believed_counts_half():
    lives = life_histories([0] * 20, [1.0] * 20, [100] * 20, [BROKEN] * 10 + [CENSORED] * 10)
    levels, half = (OPERATION, ITEM), np.repeat([0.5, 0.0], 10)

    breakage = fit_breakage(lives, levels, np.ones(4), half)

    assert breakage.alpha[0] == fitted(lives).alpha[0] - 5
    assert breakage.after(lives, half).alpha[0] == breakage.alpha[0] + 5


def test_edges_that_break_soon_or_seldom_tell_of_bad_seats():
    lives = _shop(0.5, 0.05, np.random.default_rng(5))

    breakage = fitted(lives)

    broke, young = lives.ended == BROKEN, np.minimum(lives.wear, YOUNG)
    soon = np.sum(broke & (lives.wear < YOUNG)) / young.sum()
    later = np.sum(broke & (lives.wear >= YOUNG)) / (lives.wear - young).sum()
    assert 1 + breakage.more == pytest.approx(soon / later, rel=0.3)
    own = np.mean([rate(breakage, key) for key in range(4)])
    assert own == pytest.approx(later, rel=0.2)


def test_edges_that_break_at_any_age_leave_the_young_nearly_like_the_rest():
    shops = [_shop(0.1, 0.1, np.random.default_rng(seed)) for seed in range(8)]

    more = [fitted(lives).more for lives in shops]
    assert np.mean(more) < 0.45


def test_parts_of_young_edges_count_as_often_as_they_break_more():
    breakage = fitted(_shop(0.5, 0.05, np.random.default_rng(5)))
    # one edge no longer young at 0.4, one taken out while young
    two = life_histories([0, 0], [0.4, 0.05], [80, 10], [BROKEN, CENSORED])
    more = breakage.after(two, np.array([1.0, 0.0]))

    young = 80 * YOUNG / 0.4 + 10
    assert more.parts[0] - breakage.parts[0] == pytest.approx(90 + breakage.more * young)
    assert more.alpha[0] - breakage.alpha[0] == 1
    assert more.more == breakage.more


def test_a_break_that_nobody_saw_counts_in_the_middle_of_its_night():
    ends = [BROKEN] * 10 + [CENSORED] * 90
    wear = [1.3 * YOUNG] * 10 + [1.0] * 90

    def more(since):
        good = [since] * 10 + [float("nan")] * 90
        lives = life_histories([0] * 100, wear, [100] * 100, ends, since=good)
        return fitted(lives).more

    assert more(0.5 * YOUNG) > 2
    assert more(0.9 * YOUNG) == 0
