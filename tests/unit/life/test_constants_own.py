"""Exponents from a shop's own edges: found, used only where sure, the level untouched."""

import math

import numpy as np
import pytest

from crib.life.constants_own import CurveDoubt, OwnLives, estimate_from_own_lives
from crib.life.taylor import TaylorConstants, life_min

TRUTH = TaylorConstants(0.32, 330, 0.3, 0.1, 0.1, 1.0)
IN_FORCE = TaylorConstants(0.22, 260, 0.3, 0.1, 0.1, 1.0)


def edges(cuts, each=12, shape=4.0, ended=0.75, seed=3, truth=TRUTH, classes=None):
    """Edges of each cut, their lives drawn from the truth, their wear as IN_FORCE counts it."""
    rng = np.random.default_rng(seed)
    part = np.repeat(np.arange(len(cuts)), each)
    v, f, d = np.array(cuts, dtype=float)[part].T
    noise = (rng.exponential(size=part.size) / math.log(2)) ** (1 / shape)
    lives = life_min(v, f, d, truth) * noise
    told = rng.random(part.size) < ended
    reached = np.where(told, lives, lives * rng.uniform(0.5, 1.0, part.size))
    wear = reached / life_min(v, f, d, IN_FORCE)
    kinds = np.zeros(part.size, dtype=np.int64) if classes is None else np.array(classes)[part]
    return OwnLives(wear, told, np.log(np.column_stack([v, f, d])), part, kinds)


FOUR_SPEEDS = [(v, 0.1, 1.0) for v in (80, 100, 130, 160)]


def test_edges_at_several_speeds_correct_the_exponent_of_the_speed():
    found = estimate_from_own_lives(edges(FOUR_SPEEDS), IN_FORCE)

    assert found.used
    assert "the power of the speed" in found.why
    assert abs(found.constants.n - TRUTH.n) < 2 * found.standard_errors["n"]
    assert found.standard_errors["n"] < found.before["n"]
    assert found.holds.cutting_speed_m_min == pytest.approx((80, 160))


def test_lives_at_different_speeds_then_fall_on_one_line():
    lives = edges(FOUR_SPEEDS, each=60, ended=1.0)
    found = estimate_from_own_lives(lives, IN_FORCE)

    def medians(curve):
        minutes = lives.wear * life_min(*np.exp(lives.ln_cut).T, IN_FORCE)
        wear = minutes / life_min(*np.exp(lives.ln_cut).T, curve)
        return np.array([np.median(wear[lives.part == part]) for part in range(4)])

    before, after = medians(IN_FORCE), medians(found.constants)
    assert before.max() / before.min() > 2
    assert after.max() / after.min() < 1.4


def test_the_life_at_the_usual_cut_stays_what_the_constants_in_force_promise():
    found = estimate_from_own_lives(edges(FOUR_SPEEDS), IN_FORCE)

    usual = np.exp(found.doubt.ln_cut)
    assert life_min(*usual, found.constants) == pytest.approx(life_min(*usual, IN_FORCE))


def test_away_from_the_usual_cut_the_doubt_grows():
    found = estimate_from_own_lives(edges(FOUR_SPEEDS), IN_FORCE)
    at = [found.doubt.spread_at(tuple(np.log([v, 0.1, 1.0]))) for v in (110, 160, 250)]

    assert 3 * at[0] < at[1] < at[2]
    assert CurveDoubt((0.0, 0.0, 0.0), np.eye(3)).spread_at((3.0, 4.0, 0.0)) == pytest.approx(5)


def test_too_few_lives_or_one_cut_change_nothing():
    few = estimate_from_own_lives(edges(FOUR_SPEEDS, each=2), IN_FORCE)
    one = estimate_from_own_lives(edges([(100, 0.1, 1.0)], each=40), IN_FORCE)
    near = estimate_from_own_lives(edges([(100, 0.1, 1.0), (104, 0.1, 1.0)]), IN_FORCE)
    stray = edges([(100, 0.1, 1.0)], each=40)
    stray.ln_cut[0, 0] += 1.0  # a single edge at another speed
    stray.ended[0] = True
    alone = estimate_from_own_lives(stray, IN_FORCE)

    for found in (few, one, near, alone):
        assert (found.used, found.constants) == (False, None)
    assert "8 are needed" in few.why
    assert "one speed" in one.why
    assert "one speed" in near.why
    assert "one speed" in alone.why


def test_two_parts_at_nearly_the_same_speed_do_not_tell_speed_from_part():
    found = estimate_from_own_lives(
        edges([(100, 0.1, 1.0), (112, 0.1, 1.0)], each=200), IN_FORCE
    )

    assert not found.used
    assert found.why.startswith("Not used")
    assert found.constants.n == pytest.approx(IN_FORCE.n, abs=2 * found.before["n"])


def test_two_kinds_of_operation_at_two_speeds_do_not_tell_speed_from_kind():
    cuts = [(90, 0.1, 1.0), (120, 0.1, 1.0)]
    apart = estimate_from_own_lives(edges(cuts, each=40, classes=[0, 1]), IN_FORCE)
    alike = estimate_from_own_lives(edges(cuts, each=40), IN_FORCE)

    assert apart.standard_errors["n"] > alike.standard_errors["n"]
    assert not apart.used


def test_no_edge_at_all_and_absurd_wear_give_no_estimate():
    nobody = OwnLives(
        np.array([]), np.array([], bool), np.empty((0, 3)), np.array([], int), np.array([], int)
    )
    none = estimate_from_own_lives(nobody, IN_FORCE)
    lives = edges(FOUR_SPEEDS)
    lives.wear[:] = np.nan

    assert (none.holds, none.used) == (None, False)
    assert not estimate_from_own_lives(lives, IN_FORCE).used


def test_lives_that_grow_with_the_speed_are_not_used():
    lives = edges(FOUR_SPEEDS, each=100, shape=8)
    wear = lives.wear * np.exp(8.0 * (lives.ln_cut[:, 0] - lives.ln_cut[:, 0].mean()))
    found = estimate_from_own_lives(
        OwnLives(wear, lives.ended, lives.ln_cut, lives.part, lives.operation_class), IN_FORCE
    )

    assert not found.used
    assert "1/n would be" in found.why


def test_a_starter_curve_gives_way_sooner_than_a_shops_own():
    lives = edges(FOUR_SPEEDS, each=4)
    own = estimate_from_own_lives(lives, IN_FORCE, exponent_spread=0.1)
    starter = estimate_from_own_lives(lives, IN_FORCE, exponent_spread=0.4)

    assert abs(starter.constants.n - TRUTH.n) < abs(own.constants.n - TRUTH.n)


def test_a_shop_of_many_small_jobs_is_estimated_as_well():
    rng = np.random.default_rng(9)
    jobs = [(v, 0.1, 1.0) for v in rng.uniform(80, 160, 1_500)]

    found = estimate_from_own_lives(edges(jobs, each=2), IN_FORCE)

    assert found.used
    assert found.constants.n == pytest.approx(TRUTH.n, rel=0.1)
