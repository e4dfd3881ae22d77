"""Radial cuts against quadrature; bars and strokes."""

import math

import pytest
from scipy.integrate import quad

from crib.cutting.kinematics import (
    parts_per_bar,
    radial_cut,
    regrips,
    spindle_rpm,
)
from crib.errors import OutsideModel


@pytest.mark.parametrize(
    ("outer", "inner", "limit"),
    [(10, 0, 8000), (12.5, 3, 10_000), (2, 0.5, 3000), (6, 2, math.inf), (1, 0, 500)],
)
def test_a_radial_cut_agrees_with_quadrature(outer, inner, limit):
    v, feed, n = 120.0, 0.05, 0.3

    cut = radial_cut(v, feed, outer, inner, limit, n)

    def speed(r):
        return min(v, 2 * math.pi * r * limit / 1000) if limit < math.inf else v

    def minutes(r):
        return 2 * math.pi * r / (1000 * speed(r) * feed) if r else 1 / (feed * limit)

    clamp = 1000 * v / (2 * math.pi * limit)
    kink = [clamp] if inner < clamp < outer else None
    whole = quad(minutes, inner, outer, points=kink)[0]
    reference = speed(outer)
    equal = quad(
        lambda r: minutes(r) * (speed(r) / reference) ** (1 / n), inner, outer, points=kink
    )[0]
    assert cut.minutes == pytest.approx(whole, rel=1e-6)
    assert cut.equivalent_min == pytest.approx(equal, rel=1e-6)
    assert cut.speed_m_min == pytest.approx(reference)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, 1e9])
def test_a_speed_or_diameter_that_cannot_be_is_refused(bad):
    with pytest.raises(OutsideModel, match="diameter_mm"):
        spindle_rpm(100, bad)
    with pytest.raises(OutsideModel, match="cutting_speed_m_min"):
        spindle_rpm(bad, 10)


def test_a_part_of_exactly_three_strokes_needs_two_regrips():
    assert regrips(0.3, 0.1) == 2
    assert regrips(0.3001, 0.1) == 3


def test_a_bar_gives_whole_parts_only():
    assert parts_per_bar(3000, 250, 25, 2.5) == 100
    assert parts_per_bar(3000, 250, 25.01, 2.5) == 99
    assert parts_per_bar(200, 250, 25, 2) == 0


def test_a_bar_without_a_part_length_is_refused():
    with pytest.raises(OutsideModel, match="part_length_mm"):
        parts_per_bar(3000, 250, 0, 2)
    with pytest.raises(OutsideModel, match="bar_remnant_mm"):
        parts_per_bar(3000, -1, 20, 2)


def test_a_stroke_of_next_to_nothing_is_refused():
    with pytest.raises(OutsideModel, match="headstock_stroke_mm"):
        regrips(300, 5e-324)
