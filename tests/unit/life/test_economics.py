"""Cutting economics against a worked example."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.cutting.kinematics import spindle_rpm, surface_speed_m_min
from crib.errors import OutsideModel
from crib.life.economics import (
    CutCosts,
    at_speed,
    best_speed,
    cut_minutes,
    least_cost_life_min,
    most_output_life_min,
)
from crib.life.taylor import TaylorConstants


def test_time_and_cost_of_a_part_are_those_of_the_worked_example():
    """Groover, machining economics example, whole parts per edge (from memory)."""
    cut = cut_minutes(50, 100, 500, 0.25)
    found = at_speed(
        50, TaylorConstants(0.125, 70), CutCosts(2, 0.5, 3), cut, 5, whole_parts=True
    )

    assert cut == pytest.approx(12.57, abs=0.005)
    assert found.life_min == pytest.approx(14.76, abs=0.005)
    assert found.part_min == pytest.approx(19.57, abs=0.005)
    assert found.part_cost == pytest.approx(12.78, abs=0.01)


@pytest.mark.parametrize(
    ("diameter_mm", "path_mm", "feed_mm_rev"),
    [(5e-324, 100, 0.1), (20, 5e-324, 0.1), (20, 100, 5e-324), (20, 1e12, 1e-6)],
)
def test_a_cut_that_is_over_at_once_or_never_ends_has_no_cost(
    diameter_mm, path_mm, feed_mm_rev
):
    with pytest.raises(OutsideModel, match="feed_mm_rev") as refused:
        cut_minutes(100, diameter_mm, path_mm, feed_mm_rev)

    assert {one["field"] for one in refused.value.errors} == {
        "diameter_mm",
        "path_length_mm",
        "feed_mm_rev",
    }


@settings(max_examples=60)
@given(
    st.floats(0.1, 0.6),
    st.floats(30, 400),
    st.floats(0.3, 40),
    st.dictionaries(st.sampled_from(["machine", "station", "holder", "tool"]),
                    st.one_of(st.none(), st.floats(500, 40_000))),
)  # fmt: skip
def test_no_spindle_is_asked_for_more_than_it_turns_and_nothing_within_is_better(
    n, c, diameter, limits
):
    curve, costs = TaylorConstants(n, c), CutCosts(3, 1.2, 4)
    lowest = min((rpm for rpm in limits.values() if rpm), default=float("inf"))
    cut = diameter, 60.0, 0.05

    for goal, life in (
        ("part_cost", least_cost_life_min(n, costs)),
        ("part_min", most_output_life_min(n, costs)),
    ):
        best = best_speed(life, curve, costs, cut, limits, 0.2)

        assert best.spindle_rpm <= lowest
        assert best.spindle_rpm == pytest.approx(
            spindle_rpm(best.cutting_speed_m_min, diameter)
        )
        assert (best.limited_by is None) == (best.life_min == pytest.approx(life))
        if best.limited_by:
            assert limits[best.limited_by] == lowest == best.spindle_rpm
        for share in (0.3, 0.7, 0.95, 1.1, 2.0):
            other = surface_speed_m_min(best.spindle_rpm * share, diameter)
            if best.spindle_rpm * share > lowest:
                continue
            costs_there = at_speed(other, curve, costs, cut_minutes(other, *cut), 0.2)
            assert getattr(costs_there, goal) >= getattr(best, goal) * (1 - 1e-9)


def test_a_spindle_limit_without_a_diameter_asks_for_it():
    with pytest.raises(OutsideModel, match="diameter_mm"):
        best_speed(15, TaylorConstants(0.25, 200), CutCosts(2, 1, 3), None, {"machine": 8000})
