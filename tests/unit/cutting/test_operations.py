"""Operations and limits that cannot be meant are refused by name."""

import math

import pytest

from crib.cutting.contradictions import check_operation
from crib.cutting.operations import CutOperation, lowest_limit
from crib.errors import OutsideModel


def test_every_wrong_column_is_named_at_once():
    with pytest.raises(OutsideModel) as refusal:
        check_operation(CutOperation("turn", -1, math.nan, 0, 1e400, passes=2.5))

    assert {error["field"] for error in refusal.value.errors} == {
        "start_diameter_mm",
        "end_diameter_mm",
        "length_mm",
        "feed_mm_rev",
        "passes",
    }


def test_an_unknown_kind_is_refused_with_the_kinds_there_are():
    with pytest.raises(OutsideModel, match="part_off"):
        check_operation(CutOperation("polish"))


def test_text_is_no_number():
    with pytest.raises(OutsideModel, match="not a number"):
        check_operation(CutOperation("turn", start_diameter_mm="12"))


def test_the_lowest_limit_holds_and_is_named():
    limits = {"machine": 8000, "station": None, "holder": 6000, "tool": 7000}

    assert lowest_limit(limits) == (6000, "holder")
    assert lowest_limit(limits, 5000) == (5000, "program")
    assert lowest_limit({}) == (math.inf, None)


@pytest.mark.parametrize("rpm", [0, -5, 5e-324, 1e12, math.nan, math.inf])
def test_a_limit_that_cannot_be_is_refused(rpm):
    with pytest.raises(OutsideModel, match="machine") as refused:
        lowest_limit({"machine": rpm})
    assert refused.value.errors[0]["field"] == "spindle_max_rpm"
    with pytest.raises(OutsideModel, match="holder") as refused:
        lowest_limit({"holder": rpm})
    assert refused.value.errors[0]["field"] == "holder_max_rpm"


def test_a_limit_of_nobody_is_refused():
    with pytest.raises(OutsideModel, match="turret"):
        lowest_limit({"turret": 100})
