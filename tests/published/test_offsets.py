"""Inches, tip orientations and diameter figures against printed ones."""

import json
from pathlib import Path

import pytest

from crib.metrology.nose import tip_orientation_vector
from crib.metrology.offset import (
    key_in_text,
    keyed_tenths_um,
)
from crib.units import (
    in_from_tenths_um,
    mm_from_tenths_um,
    tenths_um_from_in,
    tenths_um_from_mm,
)

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/offsets.json").read_text("utf-8")
    )
}


def test_a_stroke_of_210_mm_in_inches(agrees):
    row = ROWS["k-23"]

    text = in_from_tenths_um(tenths_um_from_mm(str(row["inputs"]["mm"])))

    # Five places are printed: half the last one is what text can be off.
    agrees(row, "in", row["expected"]["in"], float(text), 5e-6)
    agrees(row, "in_2dp", row["expected"]["in_2dp"], round(float(text), 2))


def test_the_least_step_in_inches_is_rounded_once(agrees):
    row = ROWS["o-01"]

    held = tenths_um_from_in("0.00001")

    # Nearer than a tenth of a micrometre no length is held.
    agrees(row, "mm", row["expected"]["mm"], held / 10_000, 0.00005)


def test_a_length_through_inches_and_back_loses_what_it_must(agrees):
    row = ROWS["o-03"]
    length = tenths_um_from_mm(row["inputs"]["mm"])

    text = key_in_text(length, "in")
    back = keyed_tenths_um(length, "in", 1)

    assert text == "+" + row["expected"]["in"]
    agrees(row, "in", row["expected"]["in"], in_from_tenths_um(length))
    agrees(row, "mm_4dp", row["expected"]["mm_4dp"], mm_from_tenths_um(back))


@pytest.mark.parametrize("name", ["o-05", "o-06"])
def test_tip_orientations_point_as_the_documents_draw_them(agrees, name):
    row = ROWS[name]
    radius = row["inputs"]["r"]

    vector = tip_orientation_vector(row["inputs"]["orientation"])

    agrees(row, "dX", row["expected"]["dX"], vector.dx * radius)
    agrees(row, "dZ", row["expected"]["dZ"], vector.dz * radius)
    angle = row["expected"]["centre_line_deg_from_Zplus"]
    agrees(row, "angle", angle, vector.centre_line_deg)
