"""Shapes of mounting, removing and correcting."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.facts import FactAnswer, FactBody
from api.schemas.fields import (
    Choice,
    ExactLength,
    Length,
    Number,
    Shape,
    Text,
    Whole,
    YesNo,
    listed,
)

AXES = ("X", "Y", "Z")
MOST_PARTS = 2**53


class ScannedShape(Shape):
    """What a scanner read, beside what was meant."""

    station = Text()
    assembly = Text()


class MountBody(FactBody):
    """Put a tool into a station."""

    station = Text(required=True, explains="Code of the station or MACHINE/STATION.")
    assembly = Text(required=True, explains="Code of the tool's label, or its holder.")
    part_count = Whole(most=MOST_PARTS, explains="What the machine's counter says.")
    scanned = fields.Nested(ScannedShape)


class OffsetShape(Shape):
    """An offset as the control is to hold it."""

    axis = Choice(AXES, required=True)
    value_mm = ExactLength(attribute="value_tenths_um", required=True)
    on_diameter = YesNo(required=True, explains="Whether the figure is doubled, on diameter.")
    key_in = Text(
        attribute="text",
        required=True,
        explains="The text to key in, with the places of the machine's offset_increment_mm.",
    )
    key_in_unit = Choice(("mm", "in"), attribute="unit", required=True)
    expanded_uncertainty_mm = Length(
        allow_none=True,
        explains="95 %; once a first-off was recorded there, of preset and datum together.",
    )


class DifferenceShape(Shape):
    """What changes on one axis against what the control held."""

    axis = Choice(AXES, required=True)
    old_mm = ExactLength(attribute="old_tenths_um", allow_none=True)
    new_mm = ExactLength(attribute="new_tenths_um", allow_none=True)
    change_mm = ExactLength(attribute="change_tenths_um", allow_none=True)
    on_diameter = YesNo(required=True)
    step = Text(attribute="text", allow_none=True, explains="The step as text.")
    step_unit = Choice(("mm", "in"), attribute="unit", required=True)


class DatumShape(Shape):
    """What first-offs showed of the datum of one axis; X as radius."""

    axis = Choice(AXES, required=True)
    recorded_mm = ExactLength(attribute="recorded_tenths_um", required=True)
    datum_mm = Length(required=True, explains="Where the first-offs put it; an estimate.")
    expanded_uncertainty_mm = Length(required=True, explains="How well that is known, 95 %.")
    next_expanded_uncertainty_mm = Length(
        required=True, explains="How far the next tool there may lie from it, 95 %."
    )
    first_offs = Whole(required=True, explains="That count since the record last changed.")
    walk_mm = Length(required=True, explains="Moves from mount to mount by, as learned (sd).")
    scatter_mm = Length(required=True, explains="Mounting scatters by, as learned (sd).")
    doubtful = YesNo(required=True, explains="A jump waits for a second first-off.")
    held_mm = Length(allow_none=True, explains="Where that jump puts it.")
    sentence = Text(required=True)


class MountShape(FactAnswer):
    """What to key in, and what to mind."""

    assembly = Text(attribute="code", required=True)
    station = Text(required=True)
    station_code = Text(required=True)
    cutter_status = Text(required=True)
    offsets = fields.List(fields.Nested(OffsetShape), required=True)
    differences = fields.List(fields.Nested(DifferenceShape), required=True)
    was_there = Text(allow_none=True, explains="Tool that was in the station before.")
    tip_orientation = Whole(allow_none=True)
    nose_radius_mm = ExactLength(attribute="nose_radius_tenths_um", allow_none=True)
    block = Text(allow_none=True, explains="Text for the control; prove it before you run.")
    block_problem = Text(allow_none=True, explains="Why there is no block.")
    limited_to_rpm = Number(allow_none=True)
    datum = fields.List(fields.Nested(DatumShape), required=True)
    cautions = listed(Text(), most=100, required=True)
    checked_for = Text(
        required=True,
        allow_none=True,
        explains="Part whose program the tool was compared with; null: no job is on or planned "
        "at the machine, so it was not.",
    )
    part_count_refused = Text(allow_none=True)
