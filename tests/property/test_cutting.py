"""Bounds that hold for every cut, whatever its numbers."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.cutting.engagement import engage
from crib.cutting.kinematics import parts_per_bar, regrips
from crib.cutting.operations import KINDS, CutOperation

MM = st.floats(0.5, 60)


@st.composite
def operations(draw):
    large, small = sorted((draw(MM), draw(MM)), reverse=True)
    if large - small < 0.01:
        large += 1
    start, end = (small, large) if draw(st.booleans()) else (large, small)
    return CutOperation(
        draw(st.sampled_from(KINDS)),
        start,
        end,
        draw(st.floats(0.1, 200)),
        draw(st.floats(0.005, 2)),
        draw(st.floats(0.05, 5)),
        draw(st.none() | st.integers(1, 20)),
        draw(st.floats(5, 500)),
        draw(st.none() | st.floats(100, 20_000)),
    )


@settings(deadline=None)
@given(operations(), st.floats(200, 30_000), st.floats(0.1, 0.7))
def test_no_cut_runs_faster_than_its_limit_or_wears_more_than_its_minutes(cut, limit, n):
    result = engage(cut, {"station": limit}, n)

    assert result.spindle_rpm <= limit * (1 + 1e-12)
    assert result.cutting_speed_m_min <= cut.cutting_speed_m_min * (1 + 1e-12)
    assert 0 < result.equivalent_min <= result.engaged_min * (1 + 1e-12)


@settings(deadline=None)
@given(operations(), st.floats(200, 30_000), st.floats(0.1, 1.0))
def test_a_lower_limit_never_makes_a_cut_shorter(cut, limit, share):
    fast = engage(cut, {"machine": limit})
    slow = engage(cut, {"machine": limit * share})

    assert slow.engaged_min >= fast.engaged_min * (1 - 1e-9)


@settings(deadline=None)
@given(operations(), st.floats(200, 30_000))
def test_the_path_in_metal_is_speed_times_time_at_most(cut, limit):
    result = engage(cut, {"machine": limit})

    assert result.length_cut_m <= result.cutting_speed_m_min * result.engaged_min * (1 + 1e-9)


@settings(deadline=None)
@given(operations(), st.floats(0.1, 3600))
def test_a_measured_time_is_the_time(cut, seconds):
    from dataclasses import replace

    result = engage(replace(cut, engaged_s=seconds), {"machine": 9000})

    assert result.engaged_min == pytest.approx(seconds / 60)
    assert result.equivalent_min <= result.engaged_min * (1 + 1e-9)


@settings(deadline=None)
@given(st.floats(1, 2000), st.floats(1, 500))
def test_strokes_cover_the_length_and_one_less_would_not(length, stroke):
    again = regrips(length, stroke)

    assert (again + 1) * stroke >= length * (1 - 1e-8)
    assert again * stroke < length * (1 + 1e-8)


@settings(deadline=None)
@given(st.floats(100, 4000), st.floats(0, 400), st.floats(1, 200), st.floats(0, 5))
def test_the_parts_of_a_bar_fit_and_one_more_would_not(bar, remnant, part, width):
    number = parts_per_bar(bar, remnant, part, width)
    usable = bar - remnant

    assert number * (part + width) <= max(usable, 0) + 1e-6 * (part + width)
    assert (number + 1) * (part + width) > usable - 1e-6 * (part + width)
    assert math.isfinite(number)
