"""The speed-life curve and its starting constants."""

import math

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.starter import MATERIAL_GROUPS, TOOL_MATERIALS, starter_constants
from crib.life.taylor import (
    LONGEST_LIFE_MIN,
    TaylorConstants,
    constants_from_two_tests,
    life_min,
)


def test_life_is_vectorised_and_falls_with_speed_feed_and_depth():
    curve = TaylorConstants(0.25, 300, 0.3, 0.1, 0.1, 1.0)

    base = life_min(100, 0.1, 1.0, curve)
    more = life_min([120, 100, 100], [0.1, 0.2, 0.1], [1.0, 1.0, 2.0], curve)

    assert base == pytest.approx(81)
    assert np.all(more < base)


def test_a_feed_that_is_not_given_counts_as_the_reference():
    curve = TaylorConstants(0.25, 300, 0.3, 0.1, 0.1, 1.0)

    assert life_min(100, None, None, curve) == pytest.approx(81)
    assert life_min([100], [math.nan], [math.nan], curve) == pytest.approx(81)


def test_a_far_off_speed_still_gives_a_finite_life():
    curve = TaylorConstants(0.05, 300)

    assert np.all(np.isfinite(life_min([1e-6, 1e6], None, None, curve)))


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_a_constant_or_speed_that_cannot_be_is_refused(bad):
    with pytest.raises(OutsideModel, match="n is"):
        TaylorConstants(bad, 100)
    with pytest.raises(OutsideModel, match="c_m_min"):
        TaylorConstants(0.25, bad)
    with pytest.raises(OutsideModel, match="cutting_speed_m_min"):
        life_min(bad, None, None, TaylorConstants(0.25, 100))


def test_a_faster_test_that_lived_longer_is_refused():
    with pytest.raises(OutsideModel, match="faster one"):
        constants_from_two_tests((160, 41), (100, 5))


@pytest.mark.parametrize("tool", TOOL_MATERIALS)
@pytest.mark.parametrize("group", MATERIAL_GROUPS)
def test_every_starting_row_says_how_little_it_rests_on(tool, group):
    row = starter_constants(tool, group)

    assert row.constants.c_m_min > 0
    assert "from memory" in row.source or "no source" in row.source


def test_a_tool_material_without_a_row_is_refused():
    with pytest.raises(OutsideModel, match="starting constants"):
        starter_constants("wood", "P")


def test_a_cut_too_small_for_a_number_still_has_the_longest_life():
    curve = TaylorConstants(0.25, 180, feed_exponent=0.5, reference_feed_mm_rev=1.0)

    assert float(life_min(5e-324, 1e-5, None, curve)) == pytest.approx(LONGEST_LIFE_MIN)
