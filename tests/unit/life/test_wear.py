"""Wear per part adds up over operations; size follows wear."""

import math
from dataclasses import replace

import pytest

from crib.cutting.engagement import engage
from crib.cutting.operations import CutOperation
from crib.errors import OutsideModel
from crib.life.taylor import TaylorConstants, life_min
from crib.life.wear import size_growth_mm, wear_per_part, wear_per_part_from_plain_guess

CURVE = TaylorConstants(0.25, 300)
CUT = CutOperation("turn", 12, length_mm=20, feed_mm_rev=0.05, cutting_speed_m_min=90)


def test_wear_is_time_over_promised_life_and_adds_up():
    one = engage(CUT)

    wear = wear_per_part([one], CURVE)

    assert wear == pytest.approx(one.engaged_min / float(life_min(90, None, None, CURVE)))
    assert wear_per_part([one, one], CURVE) == pytest.approx(2 * wear)
    assert wear_per_part([], CURVE) == 0


def test_a_clamped_spindle_wears_by_its_real_speed():
    small = replace(CUT, start_diameter_mm=3)
    free, clamped = engage(small), engage(small, {"machine": 5000})

    # The same path at half the speed takes twice the time but at n = 1/4 lives 16 times longer.
    assert clamped.engaged_min > free.engaged_min
    assert wear_per_part([clamped], CURVE) < wear_per_part([free], CURVE)


def test_wear_without_a_speed_is_refused():
    with pytest.raises(OutsideModel, match="cutting_speed_m_min"):
        wear_per_part([engage(CutOperation("turn", engaged_s=5))], CURVE)


@pytest.mark.parametrize("bad", [0, -800, math.nan, math.inf])
def test_a_plain_guess_that_cannot_be_is_refused(bad):
    with pytest.raises(OutsideModel, match="life_parts"):
        wear_per_part_from_plain_guess(bad)


def test_size_grows_twice_on_diameter_and_not_at_all_without_wear():
    assert size_growth_mm([0, 0.1], 7)[0] == 0
    assert size_growth_mm(0.1, 7) == pytest.approx(
        2 * size_growth_mm(0.1, 7, on_diameter=False)
    )


def test_a_negative_land_is_refused():
    with pytest.raises(OutsideModel, match="wear land"):
        size_growth_mm(-0.1, 7)
    with pytest.raises(OutsideModel, match="clearance"):
        size_growth_mm(0.1, 90)
