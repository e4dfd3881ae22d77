"""Lengths of an assembly become the figures that are keyed in."""

import pytest

from crib.errors import Invalid
from crib.metrology.nose import TipVector, tip_orientation_vector
from crib.metrology.offset import (
    StationGeometry,
    apply_correction,
    difference,
    key_in_text,
    offsets_to_key_in,
)

GANG = StationGeometry(
    axis_x="+WF", axis_z="-LF", datum_x_tenths_um=1_000, datum_z_tenths_um=2_500_000
)
TAKEN = {"LF": 801_234, "WF": 123_456, "RE": 4_000}


def test_an_offset_is_datum_plus_mapped_measure_and_x_counts_twice():
    x, z = offsets_to_key_in(TAKEN, GANG, {"LF": 0.003, "WF": 0.004})

    assert (x.axis, x.value_tenths_um, x.text) == ("X", 2 * (1_000 + 123_456), "+24.8912")
    assert (z.axis, z.value_tenths_um, z.text) == ("Z", 2_500_000 - 801_234, "+169.8766")
    assert x.on_diameter
    assert not z.on_diameter
    assert (x.expanded_uncertainty_mm, z.expanded_uncertainty_mm) == (0.008, 0.003)


def test_x_on_radius_counts_once():
    radius = StationGeometry(axis_x="+WF", x_on_diameter=False)

    (x,) = offsets_to_key_in(TAKEN, radius, {"WF": 0.004})

    assert (x.value_tenths_um, x.expanded_uncertainty_mm) == (123_456, 0.004)


def test_only_x_is_ever_on_diameter():
    across = StationGeometry(axis_y="+HF", axis_z="+LF")

    offsets = offsets_to_key_in({"HF": 5, "LF": 7}, across)

    assert [(row.axis, row.value_tenths_um) for row in offsets] == [("Y", 5), ("Z", 7)]


def test_an_axis_without_mapping_shows_its_datum_if_it_has_one():
    with_height = StationGeometry(axis_z="+LF", datum_y_tenths_um=-30_000)

    offsets = offsets_to_key_in(TAKEN, with_height)

    assert [(row.axis, row.text) for row in offsets] == [("Y", "-3.0000"), ("Z", "+80.1234")]
    assert offsets[0].expanded_uncertainty_mm is None


def test_an_inch_control_gets_inches_rounded_once_after_doubling():
    inch = StationGeometry(axis_x="+WF", offset_unit="in")

    (x,) = offsets_to_key_in({"WF": 123_456}, inch)

    # 24.6912 mm / 25.4 = 0.972094…; twice the rounded 0.48605 would be 0.97210.
    assert x.text == "+0.97209"
    assert x.value_tenths_um == 246_912


@pytest.mark.parametrize(
    ("value", "unit", "increment", "text"),
    [
        (123_455, "mm", 10, "+12.346"),
        (123_445, "mm", 10, "+12.344"),
        (-123_455, "mm", 10, "-12.346"),
        (4, "mm", 10, "0.000"),
        (-4, "mm", 10, "0.000"),
        (123_455, "mm", 5, "+12.3455"),
        (123_455, "mm", 20, "+12.346"),
        (123_455, "mm", 100, "+12.35"),
        (123_455, "mm", 10_000, "+12.0"),
        (0, "in", 1, "0.00000"),
        (-1, "in", 1, "0.00000"),
        (254_000, "in", 25, "+1.0000"),
        (254_013, "in", 25, "+1.0001"),
        (254_013, "in", 13, "+1.00005"),
        (-5, "mm", 1, "-0.0005"),
    ],
)
def test_a_figure_is_rounded_once_to_the_controls_step(value, unit, increment, text):
    assert key_in_text(value, unit, increment) == text


def test_a_measure_that_the_station_needs_must_be_there():
    with pytest.raises(Invalid, match="WF for axis X and HF for axis Y"):
        offsets_to_key_in({"LF": 1}, StationGeometry("+WF", "-HF", "+LF"))


@pytest.mark.parametrize(
    "bad",
    [
        {"axis_x": "WF"},
        {"axis_y": "+RE"},
        {"axis_z": ""},
        {"offset_unit": "cm"},
        {"offset_increment_tenths_um": 0},
    ],
)
def test_a_station_that_cannot_be_is_refused(bad):
    with pytest.raises(Invalid):
        StationGeometry(**bad)


def test_the_difference_names_axes_that_come_or_go():
    new = offsets_to_key_in({"WF": 100, "LF": 50}, StationGeometry("+WF", None, "+LF"))
    old = offsets_to_key_in({"WF": 60, "HF": 7}, StationGeometry("+WF", "+HF", None))

    x, y, z = difference(new, old)

    assert (x.change_tenths_um, x.text) == (80, "+0.0080")
    assert (y.old_tenths_um, y.new_tenths_um, y.change_tenths_um, y.text) == (
        7,
        None,
        None,
        None,
    )
    assert (z.old_tenths_um, z.new_tenths_um, z.change_tenths_um) == (None, 50, None)


def test_diameter_and_radius_figures_are_never_compared():
    diameter = offsets_to_key_in({"WF": 100}, StationGeometry("+WF"))
    radius = offsets_to_key_in({"WF": 100}, StationGeometry("+WF", x_on_diameter=False))

    with pytest.raises(Invalid, match="on diameter in one"):
        difference(diameter, radius)


def test_a_correction_moves_the_offset_exactly():
    x, _ = offsets_to_key_in(TAKEN, GANG)

    moved = apply_correction(x, -120, 10)

    assert moved.value_tenths_um == x.value_tenths_um - 120
    assert moved.on_diameter


def test_a_correction_finer_than_the_control_takes_is_refused():
    x, _ = offsets_to_key_in(TAKEN, GANG)

    with pytest.raises(Invalid, match="finer than this control takes"):
        apply_correction(x, 5, 10)


def test_a_machine_may_number_its_quadrants_itself():
    own = {1: TipVector(-1, -1, 225)}

    assert tip_orientation_vector(1, own) == (-1, -1, 225)
    with pytest.raises(Invalid, match="use one of 1"):
        tip_orientation_vector(2, own)


def test_a_vector_points_along_its_centre_line():
    import math

    for orientation in range(1, 9):
        vector = tip_orientation_vector(orientation)
        angle = math.degrees(math.atan2(vector.dx, vector.dz)) % 360
        assert angle == pytest.approx(vector.centre_line_deg)


def test_each_difference_names_its_axis_and_its_unit():
    station = StationGeometry("+WF", None, "+LF")
    new = offsets_to_key_in({"WF": 100, "LF": 50}, station)
    old = offsets_to_key_in({"WF": 60, "LF": 70}, station)

    rows = difference(new, old)

    assert [(row.axis, row.unit, row.on_diameter) for row in rows] == [
        ("X", "mm", True), ("Z", "mm", False),
    ]  # fmt: skip
    assert [(row.old_tenths_um, row.new_tenths_um) for row in rows] == [(120, 200), (70, 50)]


def test_a_step_that_the_control_cannot_take_names_its_field():
    (x,) = offsets_to_key_in({"WF": 100}, StationGeometry("+WF"))
    with pytest.raises(Invalid) as refused:
        apply_correction(x, 5, 10)

    assert refused.value.errors[0]["field"] == "change_mm"


@pytest.mark.parametrize(
    ("unit", "increment", "uncertainty_mm", "told"),
    [
        ("mm", 1, 0.0046, "0.0046"),
        ("mm", 10, 0.0046, "0.005"),
        ("mm", 1, 0.004600000000000001, "0.0046"),
        ("in", 1, 0.0046, "0.00019"),  # 0.0046 / 25.4 = 0.000181…, never told too small
        ("in", 25, 0.0046, "0.0002"),
        ("mm", 1, None, None),
        ("mm", 1, 0.0, None),
    ],
)
def test_an_uncertainty_has_the_unit_and_the_places_of_its_figure(
    unit, increment, uncertainty_mm, told
):
    geometry = StationGeometry(
        "+WF", x_on_diameter=False, offset_unit=unit, offset_increment_tenths_um=increment
    )
    (x,) = offsets_to_key_in({"WF": 123_456}, geometry, {"WF": uncertainty_mm})

    assert x.uncertainty_text == told
    assert told is None or len(told.split(".")[1]) == len(x.text.split(".")[1])
