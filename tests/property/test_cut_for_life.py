"""Speed and feed for a wanted life: the curve asked backwards, over random curves and cuts."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize

from crib.cutting.finish import (
    feed_for_peak_mm_rev,
    feeds_for_finish,
    ideal_mean_um,
    least_feed_mm_rev,
    parabola_peak_um,
    peak_of_mean_um,
    ploughed_peak_um,
)
from crib.cutting.kinematics import feed_minutes, spindle_rpm
from crib.errors import OutsideModel
from crib.life.cut_for_life import (
    TENTH,
    StraightCut,
    curves_in_doubt,
    feed_for_parts_mm_rev,
    feed_power,
    parts_per_edge,
    slower_makes_more,
    speed_for_parts_m_min,
)
from crib.life.taylor import (
    TaylorConstants,
    feed_for_life_mm_rev,
    life_min,
    speed_for_life_m_min,
)

CURVES = st.builds(
    TaylorConstants,
    st.floats(0.08, 0.7),
    st.floats(30, 2000),
    st.floats(0.05, 0.9),
    st.floats(0, 0.5),
    st.none() | st.floats(0.02, 0.5),
    st.none() | st.floats(0.1, 3),
)
SPEEDS = st.lists(st.floats(10, 800), min_size=1, max_size=6)
FEED, DEPTH = st.floats(0.005, 0.6), st.floats(0.05, 4)
CUTS = st.builds(StraightCut, st.floats(1, 60), st.floats(0.5, 200))


def inside(lives):
    """Lives that no bound of the curve has touched."""
    assume(np.all((lives > 1e-8) & (lives < 1e11)))
    return lives


@given(CURVES, SPEEDS, FEED, DEPTH)
def test_speed_for_a_life_takes_back_the_life_at_a_speed(curve, speeds, feed, depth):
    lives = inside(life_min(speeds, feed, depth, curve))

    assert speed_for_life_m_min(lives, curve, feed, depth) == pytest.approx(speeds, rel=1e-9)


@given(CURVES, st.lists(FEED, min_size=1, max_size=6), st.floats(10, 800), DEPTH)
def test_feed_for_a_life_takes_back_the_life_at_a_feed(curve, feeds, speed, depth):
    lives = inside(life_min(speed, feeds, depth, curve))

    found = feed_for_life_mm_rev(lives, speed, curve, depth)

    assert found == pytest.approx(feeds, rel=1e-7)
    assert np.all(feed_for_life_mm_rev(lives * 2, speed, curve, depth) < found)


@given(CURVES, SPEEDS, FEED, DEPTH, CUTS)
def test_speed_for_parts_takes_back_the_parts_at_a_speed(curve, speeds, feed, depth, cut):
    inside(life_min(speeds, feed, depth, curve))
    parts = parts_per_edge(speeds, feed, cut, curve, depth)

    found = speed_for_parts_m_min(parts, feed, cut, curve, depth)

    assert found == pytest.approx(speeds, rel=1e-7)
    assert np.all(speed_for_parts_m_min(parts * 2, feed, cut, curve, depth) < found)


@given(CURVES, st.lists(FEED, min_size=1, max_size=6), st.floats(10, 800), DEPTH, CUTS)
def test_feed_for_parts_takes_back_the_parts_at_a_feed(curve, feeds, speed, depth, cut):
    power = feed_power(curve)
    assume(abs(power) > 0.02)
    inside(life_min(speed, feeds, depth, curve))
    parts = parts_per_edge(speed, feeds, cut, curve, depth)

    found = feed_for_parts_mm_rev(parts, speed, cut, curve, depth)

    assert found == pytest.approx(feeds, rel=1e-5)
    more = feed_for_parts_mm_rev(parts * 1.01, speed, cut, curve, depth)
    assert np.all((more > found) == (power > 0))


@given(CURVES, st.floats(10, 800), FEED, DEPTH, CUTS)
def test_parts_are_the_life_over_the_minutes_of_the_kinematics(curve, speed, feed, depth, cut):
    life = float(inside(life_min(speed, feed, depth, curve)))
    minutes = feed_minutes(cut.length_mm, feed, spindle_rpm(speed, cut.diameter_mm))

    assert float(parts_per_edge(speed, feed, cut, curve, depth)) == pytest.approx(
        life / minutes, rel=1e-9
    )


@given(CURVES, st.floats(20, 400), st.floats(1, 300), FEED, DEPTH)
def test_the_speed_is_the_root_that_a_library_finds(curve, speed, life, feed, depth):
    asked = float(speed_for_life_m_min(life, curve, feed, depth))
    assume(1e-2 < asked < 1e4)

    def miss(ln_speed):
        return math.log(float(life_min(math.exp(ln_speed), feed, depth, curve)) / life)

    root = optimize.brentq(miss, math.log(asked / 50), math.log(asked * 50), xtol=1e-12)

    assert math.exp(root) == pytest.approx(asked, rel=1e-8)


@given(CURVES, st.floats(0, 0.1), st.floats(20, 400), FEED, DEPTH, st.floats(0.2, 5))
def test_doubt_of_the_exponent_opens_with_the_way_from_where_lives_were_seen(
    curve, error, seen, feed, depth, times
):
    here = float(inside(life_min(seen, feed, depth, curve)))
    low, high = curves_in_doubt(curve, "n", error, (seen, feed, depth))

    at_seen = [float(speed_for_life_m_min(here, one, feed, depth)) for one in (low, high)]
    away = [float(speed_for_life_m_min(here * times, one, feed, depth)) for one in (low, high)]

    assert at_seen == pytest.approx([seen, seen], rel=1e-9)
    # by hand: v = v_seen times**-n, with n 1.2816 standard errors off
    ends = [max(curve.n + sign * TENTH * error, 0.01) for sign in (-1, 1)]
    assert away == pytest.approx([seen * times**-n for n in ends], rel=1e-7)


@given(CURVES, st.floats(0, 0.2), st.floats(20, 400), FEED, DEPTH, st.floats(0.2, 5))
def test_doubt_of_the_feed_leaves_the_speed_alone(curve, error, speed, feed, depth, times):
    inside(life_min(speed, [feed, feed * times], depth, curve))
    low, high = curves_in_doubt(curve, "feed_exponent", error, (speed, feed, depth))

    lives = [float(life_min(speed * times, feed, depth, one)) for one in (low, curve, high)]

    assume(max(lives) < 1e11 and min(lives) > 1e-8)
    assert lives[0] == pytest.approx(lives[1], rel=1e-6) == pytest.approx(lives[2], rel=1e-6)
    slow = float(life_min(speed, feed * times, depth, low))
    fast = float(life_min(speed, feed * times, depth, high))
    assert (slow >= fast * (1 - 1e-9)) == (times >= 1) or slow == pytest.approx(fast)


@given(st.floats(0.01, 100), st.floats(0.05, 3))
def test_feed_for_a_finish_takes_back_the_finish_of_a_feed(mean, corner):
    peak = float(peak_of_mean_um(mean))
    assume(peak < 500 * corner)

    feed = float(feed_for_peak_mm_rev(peak, corner))

    assert parabola_peak_um(feed, corner) == pytest.approx(peak, rel=1e-12)
    assert ideal_mean_um(feed, corner) == pytest.approx(mean, rel=1e-12)
    assert float(feed_for_peak_mm_rev(peak / 4, corner)) == pytest.approx(feed / 2)


@given(st.floats(0.05, 3), st.floats(0.0005, 0.03))
def test_below_the_least_feed_a_surface_gets_rougher(corner, chip):
    assume(chip < corner / 4)
    least = float(least_feed_mm_rev(corner, chip))

    found = optimize.minimize_scalar(
        lambda feed: ploughed_peak_um(feed, corner, chip),
        bounds=(least / 20, min(20 * least, 2 * corner)),
        method="bounded",
        options={"xatol": 1e-12},
    )

    assert found.x == pytest.approx(least, rel=1e-4)
    assert found.fun == pytest.approx(1000 * chip, rel=1e-6)
    peaks = [parabola_peak_um(share * least, corner) for share in (0.5, 1.01)]
    assert feeds_for_finish(peaks, corner, chip).rubs.tolist() == [True, False]


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: feed_for_life_mm_rev(20, 100, TaylorConstants(0.25, 200)), "feed_exponent"),
        (
            lambda: feed_for_parts_mm_rev(
                9, 100, StraightCut(9, 9), TaylorConstants(0.25, 200, 0.25)
            ),
            "feed_exponent",
        ),
        (
            lambda: speed_for_parts_m_min(
                9, 0.1, StraightCut(9, 9), TaylorConstants(1.0, 200, 0.25)
            ),
            "n",
        ),
        (
            lambda: speed_for_parts_m_min(0, 0.1, StraightCut(9, 9), TaylorConstants(0.2, 9)),
            "life_parts",
        ),
        (lambda: feed_for_peak_mm_rev(201, 0.4), "peak_um"),
        (lambda: feed_for_peak_mm_rev(0, 0.4), "peak_um"),
        (lambda: curves_in_doubt(TaylorConstants(0.2, 9), "n", -1, (9, None, None)), "n_se"),
    ],
)
def test_a_question_without_an_answer_is_refused_by_name(ask, field):
    with pytest.raises(OutsideModel) as refused:
        ask()

    assert [one["field"] for one in refused.value.errors] == [field]
    assert not slower_makes_more(TaylorConstants(1.0, 9))
