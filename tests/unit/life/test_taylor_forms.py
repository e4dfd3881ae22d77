"""The speed-life curve solved for each of its quantities, in both systems of units."""

import math

import pytest

from crib.errors import OutsideModel
from crib.life.starter import MATERIAL_GROUPS, TOOL_MATERIALS, starter_constants
from crib.life.taylor import (
    TaylorConstants,
    constants_through_test,
    life_min,
    speed_for_life_m_min,
)
from crib.life.taylor_forms import (
    constants_from_inches,
    m_min_from_ft_min,
    mm_from_in,
    power_law,
)

CURVE = TaylorConstants(0.25, 300, 0.3, 0.1, 0.1, 1.0)


def test_life_and_speed_undo_each_other_at_any_feed_and_depth():
    life = life_min(110, 0.2, 2.0, CURVE)

    assert float(speed_for_life_m_min(life, CURVE, 0.2, 2.0)) == pytest.approx(110)
    assert float(speed_for_life_m_min(life, CURVE)) > 110  # a lighter cut may run faster


def test_a_test_fixes_the_level():
    found = constants_through_test(CURVE, 110, float(life_min(110, 0.2, 2.0, CURVE)), 0.2, 2.0)

    assert found.c_m_min == pytest.approx(300)
    assert found.feed_exponent == CURVE.feed_exponent


@pytest.mark.parametrize("bad", [0, -5, math.nan, math.inf])
def test_numbers_that_no_test_can_have_are_refused(bad):
    with pytest.raises(OutsideModel):
        constants_through_test(CURVE, bad, 10)
    with pytest.raises(OutsideModel):
        constants_through_test(CURVE, 100, bad)
    with pytest.raises(OutsideModel):
        speed_for_life_m_min(bad, CURVE)


def test_the_power_law_keeps_a_level_that_no_computer_number_could_hold():
    law = power_law(TaylorConstants(0.01, 90_000))

    assert law.ln_k == pytest.approx(100 * math.log(90_000))


def test_feet_and_inches_give_the_same_life():
    """The same cut in both systems; 1 ft = 0.3048 m, 1 in = 25.4 mm exactly."""
    v_ft_min, f_in, d_in = 400.0, 0.008, 0.06
    n, c, a, b = 0.25, 180.0, 0.35, 0.15
    by_hand = (c / (v_ft_min * f_in**a * d_in**b)) ** (1 / n)

    metric = constants_from_inches(n, c, a, b)

    ours = life_min(m_min_from_ft_min(v_ft_min), mm_from_in(f_in), mm_from_in(d_in), metric)
    assert float(ours) == pytest.approx(by_hand)


@pytest.mark.parametrize("tool", TOOL_MATERIALS)
@pytest.mark.parametrize("group", MATERIAL_GROUPS)
def test_every_starting_row_says_for_which_cuts_it_is_meant(tool, group):
    row = starter_constants(tool, group)

    slow, fast = row.holds.cutting_speed_m_min
    lives = life_min([slow, fast], None, None, row.constants)
    assert lives == pytest.approx([100, 5])
    assert row.holds.outside((slow * fast) ** 0.5, 0.1, 1.0) == ()
    assert len(row.holds.outside(fast * 1.5, 2.0, 20.0)) == 3
