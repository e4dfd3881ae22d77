"""What letters and numbers come to, against the tables of the standards."""

import json
import math
from pathlib import Path

import pytest

from crib.designation import tables
from crib.designation.holder_tables import BAR_DIAMETER_MM, SHANK_MM
from crib.designation.reading import read_any_holder, read_insert
from crib.designation.shanks import GRADE_UM, SIZES_UP_TO_MM, standard_tolerance_um
from crib.designation.sizes import edge_length_mm, size_for_circle
from crib.designation.tolerances import CLASSES, limits

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/designation.json").read_text("utf-8")
    )
}


def _named(start: str) -> list[str]:
    return [name for name in ROWS if name.startswith(start)]


def _compare(agrees, row, ours: dict[str, object]) -> None:
    assert set(ours) == set(row["expected"])
    for name, value in ours.items():
        agrees(row, name, row["expected"][name], value, row["tolerance"].get(name, 0))


@pytest.mark.parametrize("name", _named("D-0") + _named("D-1"))
def test_an_insert_has_the_geometry_of_its_designation(agrees, name):
    row = ROWS[name]

    insert = read_insert(row["inputs"]["code"])

    assert str(insert) == row["inputs"]["code"]
    ours = {
        "shape_deg": insert.included_angle_deg,
        "clearance_deg": insert.clearance_deg,
        "IC": insert.circle_mm,
        "s": insert.thickness_mm,
        "r": insert.corner_radius_mm,
        "edges": insert.edges,
    }
    _compare(agrees, row, ours)


@pytest.mark.parametrize("name", _named("D-T"))
def test_a_class_has_the_limits_of_the_table(agrees, name):
    row = ROWS[name]

    d, m, s = CLASSES[row["inputs"]["class"]]

    assert m is not None
    assert all(range_.least_mm == range_.greatest_mm for range_ in (d, m, s))
    _compare(agrees, row, {"d": d.least_mm, "m": m.least_mm, "s": s.least_mm})


@pytest.mark.parametrize("name", _named("D-M"))
def test_class_m_goes_by_the_inscribed_circle(agrees, name):
    row = ROWS[name]

    d, m, s = limits(row["inputs"]["class"], "C", row["inputs"]["IC"])

    assert m is not None
    assert (d.least_mm, m.least_mm) == (d.greatest_mm, m.greatest_mm)
    _compare(agrees, row, {"d": d.least_mm, "m": m.least_mm, "s": s.least_mm})


@pytest.mark.parametrize("name", _named("inch-"))
def test_metric_limits_are_the_inch_chart_rounded(agrees, name):
    row = ROWS[name]
    inputs = row["inputs"]

    found = limits(inputs["class"], "C", round(inputs.get("IC", 0.5) * 25.4, 3))

    ours = dict(
        zip("dms", (range_.greatest_mm / 25.4 for range_ in found if range_), strict=True)
    )
    _compare(agrees, row, {name: ours[name] for name in row["expected"]})


@pytest.mark.parametrize("name", _named("D-L"))
def test_an_edge_and_its_number_follow_from_the_inscribed_circle(agrees, name):
    row = ROWS[name]
    shape, circle_mm = row["inputs"]["shape"], row["inputs"]["IC"]

    ours = {
        "l_mm": edge_length_mm(shape, circle_mm),
        "size": size_for_circle(shape, circle_mm),
    }

    _compare(agrees, row, ours)


@pytest.mark.parametrize("name", _named("D-H"))
def test_a_holder_has_the_measures_of_its_designation(agrees, name):
    row = ROWS[name]

    holder = read_any_holder(row["inputs"]["code"])

    assert str(holder) == row["inputs"]["code"]
    ours = {
        "clamping": holder.pocket.clamping,
        "insert": holder.pocket.shape,
        "style_deg": holder.edge_angle_deg,
        "insert_clearance_deg": tables.CLEARANCE_DEG[holder.pocket.clearance],
        "hand": holder.pocket.hand,
        "h": holder.shank_height_mm,
        "b": holder.shank_width_mm,
        "l": holder.length_mm,
        "insert_size": holder.pocket.size,
    }
    _compare(agrees, row, ours)


@pytest.mark.parametrize("name", _named("D-I"))
def test_standard_tolerances_are_those_of_the_table(agrees, name):
    row = ROWS[name]
    inputs = row["inputs"]

    for size_mm in (inputs["over"] + 0.001, (inputs["over"] + inputs["to"]) / 2, inputs["to"]):
        agrees(
            row, "um", row["expected"]["um"], standard_tolerance_um(inputs["grade"], size_mm)
        )


def test_the_table_of_grades_is_the_formula_of_the_standard_rounded():
    """ISO 286-1: i = 0.45 cbrt(D) + 0.001 D, D the geometric mean of the range (from memory).

    Grades from 6 on are 10, 16, 25, 40, 64, 100, 160, 250 times i; 5 is about 7. What is
    printed was rounded by hand over the years, by up to a tenth, up to 3 mm by a sixth.
    """
    times = {5: 7, 6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160, 13: 250}
    for index, up_to in enumerate(SIZES_UP_TO_MM):
        over = SIZES_UP_TO_MM[index - 1] if index else 1.0
        mean = math.sqrt(over * up_to)
        unit = 0.45 * mean ** (1 / 3) + 0.001 * mean
        for grade, factor in times.items():
            printed = GRADE_UM[grade][index]
            off = max(1.0, printed * (0.1 if index else 1 / 6))
            assert abs(printed - factor * unit) <= off, (grade, up_to)


def test_every_shank_size_has_its_limits():
    for size_mm in (*SHANK_MM.values(), *BAR_DIAMETER_MM.values()):
        assert standard_tolerance_um(13, size_mm) > standard_tolerance_um(7, size_mm) > 0


def test_every_row_is_compared():
    told = [_named(start) for start in (*(f"D-{kind}" for kind in "01TMLHI"), "inch-")]

    assert sum(map(len, told)) == len(ROWS)
