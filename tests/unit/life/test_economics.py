"""Cutting economics against a worked example."""

import pytest

from crib.errors import OutsideModel
from crib.life.economics import CutCosts, at_speed, cut_minutes
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
