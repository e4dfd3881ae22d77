"""A station's cut scaled for a wanted life."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.cutting.engagement import engage
from crib.cutting.operations import CutOperation
from crib.errors import OutsideModel
from crib.life.taylor import TaylorConstants
from crib.planning.cut_asked import (
    FEED,
    MOST_TIMES,
    SPEED,
    cut_taken,
    refuse_beyond,
    refuse_fixed,
    times_for,
)
from crib.planning.part_wear import part_wear

CURVE = TaylorConstants(0.25, 180, 0.35, 0.15)
TURN = CutOperation(
    "turn", start_diameter_mm=12.0, length_mm=20.0, feed_mm_rev=0.05, cutting_speed_m_min=120.0
)
FACE = CutOperation(
    "face", start_diameter_mm=12.0, end_diameter_mm=0.0, feed_mm_rev=0.04,
    cutting_speed_m_min=100.0,
)  # fmt: skip
TAP = CutOperation(
    "tap", start_diameter_mm=4.0, length_mm=8.0, feed_mm_rev=0.7, spindle_rpm=800.0
)


def test_today_s_cut_is_that_of_the_forecast():
    taken = cut_taken([TURN, FACE], {"machine": 5_000.0}, CURVE, SPEED, 1.0)

    told = part_wear([TURN, FACE], {"machine": 5_000.0}, constants=CURVE)

    assert taken.wear == pytest.approx(told.wear)
    assert taken.minutes == pytest.approx(told.engaged_min)


@given(st.floats(1 / MOST_TIMES, MOST_TIMES))
def test_one_free_cut_wears_by_the_powers_of_taylor(times):
    """Wear per part goes with v**(1/n - 1) and f**(a/n - 1)."""
    now = cut_taken([TURN], {}, CURVE, SPEED, 1.0)

    faster = cut_taken([TURN], {}, CURVE, SPEED, times)
    coarser = cut_taken([TURN], {}, CURVE, FEED, times)

    assert faster.wear / now.wear == pytest.approx(times**3)
    assert coarser.wear / now.wear == pytest.approx(times**0.4)
    assert faster.minutes == pytest.approx(now.minutes / times)
    assert coarser.feed_mm_rev == pytest.approx(0.05 * times)


def test_a_spindle_at_its_limit_cuts_no_faster():
    limits = {"machine": 4_000.0}

    fast, faster = (cut_taken([TURN], limits, CURVE, SPEED, times) for times in (1.5, 2.5))

    assert (fast.spindle_rpm, fast.limited_by) == (4_000.0, "machine")
    assert faster.wear == pytest.approx(fast.wear)


def test_measured_seconds_go_with_the_speed_that_is_reached():
    timed = CutOperation(
        "turn", start_diameter_mm=12.0, cutting_speed_m_min=120.0, engaged_s=6.0
    )

    free = cut_taken([timed], {}, CURVE, SPEED, 2.0)
    held = cut_taken([timed], {"machine": 4_000.0}, CURVE, SPEED, 2.0)

    assert free.minutes == pytest.approx(0.05)
    real = engage(timed).cutting_speed_m_min / held.cutting_speed_m_min
    assert held.minutes == pytest.approx(0.1 * real)
    fed = replace(timed, feed_mm_rev=0.05)
    assert cut_taken([fed], {}, CURVE, FEED, 2.0).minutes == pytest.approx(0.05)


def test_a_pitch_stays_as_it_is():
    both = cut_taken([TURN, TAP], {}, CURVE, FEED, 2.0)
    tap = cut_taken([TAP], {}, CURVE, FEED, 2.0)

    assert tap.feed_mm_rev == 0.7
    assert both.minutes == pytest.approx(tap.minutes + engage(TURN).engaged_min / 2)


@settings(max_examples=60)
@given(st.lists(st.floats(-4, 4).filter(lambda p: abs(p) > 0.05), min_size=1, max_size=5))
def test_the_factor_takes_back_the_life(powers):
    power = np.array(powers)

    times, slow, fast = times_for(lambda t: 300 * t**power, 420.0, len(power))

    inside = np.abs(np.log(1.4) / power) <= np.log(MOST_TIMES)
    assert np.isfinite(times).tolist() == inside.tolist()
    assert 300 * times[inside] ** power[inside] == pytest.approx([420.0] * inside.sum())
    assert slow == pytest.approx(300 * (1 / MOST_TIMES) ** power)
    assert fast == pytest.approx(300 * MOST_TIMES**power)


def test_a_life_out_of_reach_is_refused_with_what_can_be_had():
    with pytest.raises(OutsideModel) as refused:
        refuse_beyond(SPEED, 600, 500, 40)

    assert "40 to 500" in refused.value.sentence
    refuse_beyond(SPEED, 100, 500, 40)


@pytest.mark.parametrize(
    ("operations", "change", "says"),
    [
        ([TAP], FEED, "pitch"),
        ([CutOperation("drill", start_diameter_mm=3.0, engaged_s=4.0)], FEED, "no feed"),
        ([CutOperation("drill", start_diameter_mm=3.0, engaged_s=4.0)], SPEED, "no speed"),
    ],
)
def test_what_the_program_leaves_no_choice_of_is_refused(operations, change, says):
    with pytest.raises(OutsideModel, match=says):
        refuse_fixed(operations, change)
