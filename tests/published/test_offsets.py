"""Inches, tip orientations and diameter figures against printed ones."""

import json
from pathlib import Path

import pytest

from crib.metrology.nose import nose_centre_tenths_um, taper_error_mm, tip_orientation_vector
from crib.metrology.offset import (
    distance_from_axis_tenths_um,
    key_in_text,
    keyed_tenths_um,
    size_correction_tenths_um,
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
    orientation, radius = row["inputs"]["orientation"], round(row["inputs"]["r"] * 10_000)

    dx, dz = nose_centre_tenths_um(orientation, radius)

    agrees(row, "dX", row["expected"]["dX"], dx / 10_000)
    agrees(row, "dZ", row["expected"]["dZ"], dz / 10_000)
    angle = tip_orientation_vector(orientation).centre_line_deg
    agrees(row, "angle", row["expected"]["centre_line_deg_from_Zplus"], angle)


def test_x_on_diameter_is_twice_the_distance_from_the_axis(agrees):
    row = ROWS["o-09"]
    x = round(row["inputs"]["X"] * 254_000)

    distance = distance_from_axis_tenths_um(x, on_diameter=True) / 254_000
    agrees(row, "distance_from_axis", row["expected"]["distance_from_axis"], distance)
    assert distance_from_axis_tenths_um(x, on_diameter=False) == x


def test_an_oversize_part_asks_for_a_negative_step(agrees):
    row = ROWS["o-11"]
    target, measured = (
        tenths_um_from_mm(str(row["inputs"][key])) for key in ("target_dia", "measured_dia")
    )

    step = size_correction_tenths_um(target, measured, on_diameter=True)

    agrees(row, "delta_X_offset", row["expected"]["delta_X_offset"], step / 10_000)
    assert size_correction_tenths_um(target, measured, on_diameter=False) == step // 2


def test_a_taper_without_nose_compensation_is_off_by_the_printed_amount(agrees):
    row = ROWS["o-12"]

    dx_mm, dz_mm = taper_error_mm(row["inputs"]["r"], row["inputs"]["taper_deg_from_Z"])

    for key, value in (("dX_radius", dx_mm), ("dZ", dz_mm)):
        agrees(row, key, row["expected"][key], value, row["tolerance"][key])
