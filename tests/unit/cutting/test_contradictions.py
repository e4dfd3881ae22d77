"""Cuts whose columns contradict each other are refused; sound ones of any shop are not."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.cutting.contradictions import check_operation, contradictions
from crib.cutting.engagement import engage
from crib.cutting.operations import CutOperation
from crib.demo.parts import operation_rows
from crib.errors import OutsideModel
from crib.records.catalogue import OPERATIONS
from crib.records.rules import problems_of

#: A cut -> the column that is named.
CONTRADICTED = [
    ({"kind": "turn", "start": 12, "end": 9, "depth": 0.5, "passes": 1}, "passes"),
    ({"kind": "turn", "start": 12, "end": 9, "depth": 0.5, "passes": 2}, "passes"),
    ({"kind": "turn", "start": 12, "end": 10, "depth": 2.0}, "depth_mm"),
    ({"kind": "turn", "start": 9, "end": 9.6}, "end_diameter_mm"),
    ({"kind": "turn", "start": 9, "end": 9, "depth": 0.2}, "end_diameter_mm"),
    ({"kind": "bore", "start": 9, "end": 8.4}, "end_diameter_mm"),
    ({"kind": "bore", "start": 8, "end": 12, "depth": 0.5, "passes": 2}, "passes"),
    ({"kind": "part_off", "start": 8, "end": 20}, "end_diameter_mm"),
    ({"kind": "face", "start": 8, "end": 8}, "end_diameter_mm"),
    (
        {"kind": "thread", "start": 10, "end": 8.16, "depth": 0.2, "passes": 3, "feed": 1.5},
        "passes",
    ),
    ({"kind": "thread", "start": 10, "end": 8.16, "depth": 1.2, "feed": 1.5}, "depth_mm"),
    ({"kind": "thread", "start": 10, "end": 8.16, "feed": 0.15}, "feed_mm_rev"),
    ({"kind": "thread", "start": 10, "feed": 45}, "feed_mm_rev"),
    ({"kind": "groove", "start": 12}, "end_diameter_mm"),
    ({"kind": "groove", "start": 12, "end": 9, "depth": 0.5}, "depth_mm"),
    ({"kind": "drill", "start": 6, "feed": 5}, "feed_mm_rev"),
    ({"kind": "drill", "start": 60, "feed": 5}, "feed_mm_rev"),
    ({"kind": "drill", "feed": 5}, "feed_mm_rev"),
    ({"kind": "ream", "start": 6, "feed": 5}, "feed_mm_rev"),
    ({"kind": "tap", "start": 5, "feed": 20}, "feed_mm_rev"),
    ({"kind": "tap", "start": 5, "feed": 8}, "feed_mm_rev"),
    ({"kind": "tap", "feed": 20}, "feed_mm_rev"),
    ({"kind": "turn", "start": 12, "end": 10, "feed": 20}, "feed_mm_rev"),
    ({"kind": "mill", "start": 3, "feed": 4}, "feed_mm_rev"),
]


def cut(kind: str, **given_: float) -> CutOperation:
    names = {"start": "start_diameter_mm", "end": "end_diameter_mm", "feed": "feed_mm_rev"}
    names |= {"depth": "depth_mm"}
    base = {"feed_mm_rev": 0.05, "length_mm": 10.0, "cutting_speed_m_min": 60.0}
    return CutOperation(kind, **base | {names.get(n, n): v for n, v in given_.items()})


@pytest.mark.parametrize(("columns", "named"), CONTRADICTED)
def test_a_cut_that_contradicts_itself_is_refused_at_its_column(columns, named):
    operation = cut(**columns)

    assert [one.column for one in contradictions(operation)] == [named]
    with pytest.raises(OutsideModel) as refusal:
        engage(operation)
    assert [error["field"] for error in refusal.value.errors] == [named]
    row = {name: getattr(operation, name) for name in CutOperation.__slots__}
    assert [problem.column for problem in problems_of(OPERATIONS, row)] == [named]


#: Threads: ISO 261 and ISO 5835 (bone screw HB 6.5: pitch 2.75, core 3.0), from memory; UNF
#: 0-80, Tr 10x3 and a lead screw of four starts likewise. Feeds of drills, reamers and cutters:
#: common practice, no source.
SOUND = [
    {"kind": "thread", "start": 1, "end": 0.693, "feed": 0.25, "depth": 0.04},
    {"kind": "thread", "start": 6.5, "end": 3.0, "feed": 2.75, "depth": 0.3, "passes": 12},
    {"kind": "thread", "start": 8.5, "end": 10, "feed": 1.5, "depth": 0.2, "passes": 10},
    {"kind": "thread", "start": 8, "feed": 8, "passes": 20},
    {"kind": "tap", "start": 1, "feed": 0.25},
    {"kind": "tap", "start": 1.524, "feed": 0.3175},
    {"kind": "tap", "start": 10, "feed": 3},
    {"kind": "drill", "start": 0.3, "feed": 0.005},
    {"kind": "drill", "start": 20, "feed": 0.5},
    {"kind": "ream", "start": 8, "feed": 1.2},
    {"kind": "mill", "start": 10, "feed": 3.2},
    {"kind": "turn", "start": 12, "end": 9, "depth": 0.5, "passes": 3},
    {"kind": "turn", "start": 12, "end": 9, "depth": 0.5},
    {"kind": "turn", "start": 12, "end": 10, "depth": 0.33, "passes": 3},
    {"kind": "turn", "start": 12.7, "end": 9.525, "depth": 1.588, "passes": 1},
    {"kind": "turn", "start": 12, "end": 12},
    {"kind": "turn", "start": 0, "end": 12, "depth": 0.5},
    {"kind": "face", "start": 0, "end": 12, "depth": 0.5},
    {"kind": "groove", "start": 12, "depth": 1.5},
    {"kind": "groove", "start": 12, "end": 9, "depth": 1.5},
    {"kind": "groove", "start": 20, "end": 26},
    {"kind": "groove", "start": 20, "engaged_s": 4.0},
    {"kind": "part_off", "start": 20, "end": 6},
]


@pytest.mark.parametrize("columns", SOUND)
def test_what_a_shop_can_mean_is_taken(columns):
    assert contradictions(cut(**columns)) == []
    check_operation(cut(**columns))


def test_every_operation_of_the_demonstration_shop_is_sound():
    told = [(row, problems_of(OPERATIONS, row)) for row in operation_rows()]

    assert [one for one in told if one[1]] == []


@settings(max_examples=60)
@given(
    st.floats(2, 60),
    st.floats(0.05, 0.95),
    st.floats(0.01, 5),
    st.one_of(st.none(), st.integers(1, 40)),
)
def test_passes_whose_time_is_counted_are_those_that_wear(start, share, depth, passes):
    """They take off exactly what lies between the diameters, each as deep as wear is told."""
    operation = cut("turn", start=start, end=start * share, depth=depth, passes=passes)
    total = start * (1 - share) / 2
    if contradictions(operation):
        assert depth > total or (passes and passes * depth < total)
        return

    found = engage(operation)

    assert found.depth_mm is not None
    assert found.passes * found.depth_mm == pytest.approx(total)
    assert found.depth_mm <= depth * 1.02 + 0.005
    one = engage(cut("turn", start=start, end=start * share, passes=found.passes))
    assert (one.engaged_min, one.depth_mm) == (found.engaged_min, found.depth_mm)


def test_a_groove_of_unknown_depth_wears_for_all_of_its_measured_time():
    found = engage(cut("groove", start=12, engaged_s=6.0))

    assert found.equivalent_min == pytest.approx(0.1)
