"""Cutting economics against a worked example."""

import pytest

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
