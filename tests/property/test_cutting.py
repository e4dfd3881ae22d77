"""Bounds that hold for every cut, whatever its numbers."""

import math
from itertools import pairwise

import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from crib.cutting.engagement import engage
from crib.cutting.kinematics import parts_per_bar, radial_cut, regrips
from crib.cutting.operations import KINDS, CutOperation
from crib.cutting.passes import thread_depths_mm, thread_passes
from crib.errors import OutsideModel

MM = st.floats(0.5, 60)


@st.composite
def operations(draw):
    """Operations whose columns do not contradict each other."""
    kind = draw(st.sampled_from(KINDS))
    large, small = sorted((draw(MM), draw(MM)), reverse=True)
    if large - small < 0.1:
        large += 1
    outwards = kind == "bore" or (kind in ("thread", "mill") and draw(st.booleans()))
    start, end = (small, large) if outwards else (large, small)
    between = (large - small) / 2
    passes = draw(st.none() | st.integers(1, 20))
    feed = draw(st.floats(0.02, min(2.0, 0.15 * large)))
    depth = draw(st.floats(large / 10, large / 2))
    if kind in ("turn", "bore", "thread"):
        depth = between * draw(st.floats(1 / (passes or 20), 1))
    elif kind == "groove":
        depth = between
    if kind == "thread":
        feed = draw(st.floats(between, min(50.0, 3 * large)))
    return CutOperation(
        kind,
        start,
        end,
        draw(st.floats(0.1, 50)),
        feed,
        depth,
        passes,
        draw(st.floats(20, 500)),
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
    try:
        slow = engage(cut, {"machine": limit * share})
    except OutsideModel:  # slowed down it takes over a day, which is refused
        reject()

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


@settings(deadline=None, max_examples=60)
@given(
    st.floats(10, 400),
    st.floats(0.01, 0.5),
    st.floats(0.5, 40),
    st.floats(0, 0.99),
    st.floats(500, 12_000),
    st.floats(0.1, 0.6),
)
def test_facing_under_a_clamp_agrees_with_quadrature(v, feed, outer, share, limit, n):
    """Against numerical quadrature of a general library (scipy.integrate)."""
    inner = outer * share
    cut = radial_cut(v, feed, outer, inner, limit, n)

    def speed(r):
        return min(v, 2 * math.pi * r * limit / 1000)

    def minutes_per_mm(r):
        rpm = min(limit, 1000 * v / (2 * math.pi * r)) if r else limit
        return 1 / (feed * rpm)

    def worn_per_mm(r):
        return minutes_per_mm(r) * (speed(r) / speed(outer)) ** (1 / n)

    clamp = 1000 * v / (2 * math.pi * limit)
    edges = [inner, *([clamp] if inner < clamp < outer else []), outer]
    for ours, rate in ((cut.minutes, minutes_per_mm), (cut.equivalent_min, worn_per_mm)):
        theirs = sum(
            quad(rate, a, b, epsabs=0, epsrel=1e-10, limit=200)[0] for a, b in pairwise(edges)
        )
        assert ours == pytest.approx(theirs, rel=1e-6)


@settings(deadline=None)
@given(st.floats(0.05, 5), st.floats(0.06, 5))
def test_a_thread_takes_the_fewest_passes_of_one_chip_area(depth, first):
    assume(first <= depth)
    passes = thread_passes(depth, first)

    depths = thread_depths_mm(depth, passes, first)

    assert depths[-1] == depth
    assert first * math.sqrt(passes - 1) < depth
    # The chip's area grows as the square of the depth: no pass takes more than the first.
    squares = [d * d for d in (0.0, *depths)]
    taken = [b - a for a, b in pairwise(squares)]
    assert max(taken) <= first * first * (1 + 1e-6)


ODD = st.sampled_from(
    [None, 0, -1, 1e-300, 5e-324, 1e-6, 1e-3, 1, 90, 1e4, 1e12, 1e308, math.nan, math.inf]
)


@settings(deadline=None, max_examples=400)
@given(st.sampled_from(KINDS), st.lists(ODD, min_size=9, max_size=9), ODD, ODD)
def test_whatever_is_typed_gives_an_answer_or_a_refusal(kind, columns, limit, share):
    cut = CutOperation(kind, *columns, contact_share=1.0 if share is None else share)
    try:
        result = engage(cut, {"machine": limit})
    except OutsideModel as refusal:
        assert refusal.errors or refusal.facts  # noqa: PT017 - what it names is the point
        return

    for value in (result.engaged_min, result.equivalent_min):
        assert math.isfinite(value)
        assert value >= 0
    for value in (result.spindle_rpm, result.cutting_speed_m_min, result.length_cut_m):
        assert value is None or math.isfinite(value)
