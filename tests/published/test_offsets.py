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


def test_a_stroke_of_210_mm_in_inches():
    row = ROWS["k-23"]

    text = in_from_tenths_um(tenths_um_from_mm(str(row["inputs"]["mm"])))

    # Five places are printed: half the last one is what text can be off.
    assert float(text) == pytest.approx(row["expected"]["in"], abs=5e-6)
    assert round(float(text), 2) == row["expected"]["in_2dp"]


def test_the_least_step_in_inches_is_rounded_once():
    row = ROWS["o-01"]

    held = tenths_um_from_in("0.00001")

    assert held == round(row["expected"]["mm"] * 10_000)


def test_a_length_through_inches_and_back_loses_what_it_must():
    row = ROWS["o-03"]
    length = tenths_um_from_mm(row["inputs"]["mm"])

    text = key_in_text(length, "in")
    back = keyed_tenths_um(length, "in", 1)

    assert text == "+" + row["expected"]["in"]
    assert in_from_tenths_um(length) == row["expected"]["in"]
    assert mm_from_tenths_um(back) == row["expected"]["mm_4dp"]


@pytest.mark.parametrize("name", ["o-05", "o-06"])
def test_tip_orientations_point_as_the_documents_draw_them(name):
    row = ROWS[name]
    orientation, radius = row["inputs"]["orientation"], round(row["inputs"]["r"] * 10_000)

    dx, dz = nose_centre_tenths_um(orientation, radius)

    assert (dx / 10_000, dz / 10_000) == (row["expected"]["dX"], row["expected"]["dZ"])
    assert (
        tip_orientation_vector(orientation).centre_line_deg
        == row["expected"]["centre_line_deg_from_Zplus"]
    )


def test_x_on_diameter_is_twice_the_distance_from_the_axis():
    row = ROWS["o-09"]
    x = round(row["inputs"]["X"] * 254_000)

    assert distance_from_axis_tenths_um(x, on_diameter=True) == round(
        row["expected"]["distance_from_axis"] * 254_000
    )
    assert distance_from_axis_tenths_um(x, on_diameter=False) == x


def test_an_oversize_part_asks_for_a_negative_step():
    row = ROWS["o-11"]
    target, measured = (
        tenths_um_from_mm(str(row["inputs"][key])) for key in ("target_dia", "measured_dia")
    )

    step = size_correction_tenths_um(target, measured, on_diameter=True)

    assert step == round(row["expected"]["delta_X_offset"] * 10_000)
    assert size_correction_tenths_um(target, measured, on_diameter=False) == step // 2


def test_a_taper_without_nose_compensation_is_off_by_the_printed_amount():
    row = ROWS["o-12"]

    dx_mm, dz_mm = taper_error_mm(row["inputs"]["r"], row["inputs"]["taper_deg_from_Z"])

    assert dx_mm == pytest.approx(
        row["expected"]["dX_radius"], abs=row["tolerance"]["dX_radius"]
    )
    assert dz_mm == pytest.approx(row["expected"]["dZ"], abs=row["tolerance"]["dZ"])
