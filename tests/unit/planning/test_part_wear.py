"""Which knowledge the wear of a part comes from, and what it comes to."""

import math

import pytest

from crib.cutting.operations import CutOperation
from crib.life.taylor import TaylorConstants
from crib.planning.part_wear import part_wear

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
