"""Which knowledge the wear of a part comes from, and what it comes to."""

import math
from dataclasses import replace

import numpy as np
import pytest

from crib.cutting.engagement import engage
from crib.cutting.operations import CutOperation
from crib.life.constants_own import CurveDoubt
from crib.life.taylor import TaylorConstants
from crib.life.taylor_range import CurveRange
from crib.planning.part_wear import Curve, part_wear

TURN = CutOperation(
    "turn", start_diameter_mm=10, end_diameter_mm=8, length_mm=20, feed_mm_rev=0.05,
    cutting_speed_m_min=100,
)  # fmt: skip
TAYLOR = TaylorConstants(0.25, 300)


def _by_hand(rpm):
    # t = L / (f N), T = (C / v)^(1/n), v on the uncut diameter: Taylor 1907
    speed = math.pi * 10 * rpm / 1000
    return 20 / (0.05 * rpm) / (300 / speed) ** 4


def test_the_shops_own_constants_come_first():
    found = part_wear([TURN], {}, constants=TAYLOR, life_parts=10)

    assert found.basis == "tool_life"
    assert found.wear == pytest.approx(_by_hand(100_000 / (math.pi * 10)))
    assert found.engaged_min == pytest.approx(20 / (0.05 * 100_000 / (math.pi * 10)))


def test_the_lowest_speed_limit_slows_the_wear():
    found = part_wear(
        [TURN], {"machine": 8000, "station": 6000, "holder": 2000, "tool": 4000},
        constants=TAYLOR,
    )  # fmt: skip

    assert (found.spindle_rpm, found.limited_by) == (2000, "holder")
    assert found.wear == pytest.approx(_by_hand(2000))


def test_a_plain_guess_comes_before_the_starter_table():
    found = part_wear(
        [TURN], {}, constants=None, life_parts=800, tool_material="carbide", material_group="P"
    )

    assert (found.basis, found.wear) == ("life_parts", 1 / 800)


def test_the_starter_table_is_the_last_resort_and_the_least_trusted():
    found = part_wear([TURN], {}, constants=None, tool_material="carbide", material_group="P")
    own = part_wear([TURN], {}, constants=TAYLOR)

    assert found.basis == "starter"
    assert found.spread > own.spread


def test_a_guess_serves_where_the_cutting_data_are_missing():
    found = part_wear([CutOperation("turn")], {}, constants=TAYLOR, life_parts=500)

    assert (found.wear, found.engaged_min) == (1 / 500, None)


def test_nothing_known_says_nothing():
    assert part_wear([CutOperation("turn")], {}, constants=TAYLOR) is None
    assert part_wear([], {}, constants=TAYLOR, life_parts=500) is None


def test_operations_of_one_edge_add_up_and_name_the_one_that_wears_most():
    short = CutOperation(
        "face", start_diameter_mm=10, end_diameter_mm=9, feed_mm_rev=0.05,
        cutting_speed_m_min=100,
    )  # fmt: skip
    both = part_wear([short, TURN], {}, constants=TAYLOR)
    one = part_wear([TURN], {}, constants=TAYLOR)
    other = part_wear([short], {}, constants=TAYLOR)

    assert both.wear == pytest.approx(one.wear + other.wear)
    assert both.operation_class == "turn"


def test_the_starter_table_weighs_slower_parts_of_a_cut_by_its_own_exponent():
    """Facing to the centre under a limit: below the clamp the wear falls as v^(1/n)."""
    face = CutOperation(
        "face", start_diameter_mm=40, end_diameter_mm=0, feed_mm_rev=0.25, depth_mm=2.5,
        cutting_speed_m_min=50,
    )  # fmt: skip
    limits = {"machine": 800}
    found = part_wear([face], limits, constants=None, tool_material="hss", material_group="P")

    # n 0.125 and C 70 m/min of high-speed steel on steel at 0.25 mm/rev and 2.5 mm
    (cut,) = [engage(face, limits, 0.125)]
    assert found.wear == pytest.approx(cut.equivalent_min / (70 / 50) ** 8)


def test_it_says_at_which_cut_the_edge_is_worn():
    slow = CutOperation(
        "turn", start_diameter_mm=10, length_mm=20, feed_mm_rev=0.05, depth_mm=0.5,
        cutting_speed_m_min=60,
    )  # fmt: skip
    one = part_wear([TURN], {}, constants=TAYLOR)
    both = part_wear([slow, TURN], {}, constants=TAYLOR)

    assert one.worn_at.ln_speed == pytest.approx(math.log(100))
    assert one.worn_at.ln_speed_square == pytest.approx(math.log(100) ** 2)
    share = (both.wear - one.wear) / both.wear
    expected = share * math.log(60) + (1 - share) * math.log(100)
    assert both.worn_at.ln_speed == pytest.approx(expected)


def test_the_wear_bends_with_the_exponent_as_the_cut_says():
    """Its slope along 1/n at equal level is the mean of ln v: the estimate stands on it."""
    slow = CutOperation(
        "turn", start_diameter_mm=10, length_mm=20, feed_mm_rev=0.05, cutting_speed_m_min=60
    )
    step = 1e-5

    def wear(power):
        # equal level: T = e^10 v^-power
        curve = TaylorConstants(1 / power, math.exp(10 / power))
        return math.log(part_wear([slow, TURN], {}, constants=curve).wear)

    at = part_wear([slow, TURN], {}, constants=TaylorConstants(0.25, math.exp(2.5))).worn_at
    assert (wear(4 + step) - wear(4 - step)) / (2 * step) == pytest.approx(
        at.ln_speed, rel=1e-4
    )


def test_a_curve_in_doubt_widens_the_spread_away_from_its_usual_cut():
    usual = (math.log(100), math.log(0.05), 0.0)
    doubt = CurveDoubt(usual, np.diag([4.0, 0.0, 0.0]))
    curve = Curve(TAYLOR, "own lives", "own_lives", 0.4, doubt)
    fast = replace(TURN, cutting_speed_m_min=150)

    near, far = (part_wear([cut], {}, constants=curve) for cut in (TURN, fast))

    assert (near.basis, near.source) == ("own_lives", "own lives")
    assert near.spread == pytest.approx(0.4, abs=1e-3)
    assert far.spread == pytest.approx(math.hypot(0.4, 2 * math.log(1.5)))


def test_a_cut_outside_the_range_of_its_curve_is_named():
    curve = Curve(TAYLOR, "", "own_lives", holds=CurveRange((80, 120), (0.05, 0.1), (0.5, 2)))
    fast = replace(TURN, cutting_speed_m_min=150)

    near, far = (part_wear([cut], {}, constants=curve) for cut in (TURN, fast))
    creeping = part_wear(
        [replace(TURN, feed_mm_rev=0.01)], {}, constants=None,
        tool_material="coated_carbide", material_group="P",
    )  # fmt: skip

    assert near.beyond == ()
    assert far.beyond == ("150 m/min lies outside 80 to 120 m/min",)
    assert any("0.01 mm/rev lies outside" in phrase for phrase in creeping.beyond)
