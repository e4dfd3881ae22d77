"""Shapes that the facts share: who, when, and the recipe of a tool."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import At, ExactLength, Number, Shape, Text, Whole
from api.schemas.query import PlainQuery


class FactBody(Shape):
    """What every fact takes."""

    at = At(explains="When it happened; left out: now. Up to 5 minutes ahead counts as now.")
    by = Text(explains="Badge or code of the person who says so.")
    note = Text(explains="What they add.")


class FactAnswer(Shape):
    """What every fact answers."""

    fact = Whole(
        attribute="fact_id", most=2**53, required=True, explains="Its number, for a reversal."
    )
    at = At(required=True)


class PieceTaken(Shape):
    """One insert or cutter of a tool."""

    number = Whole(required=True, explains="Its number within the lot.")
    edge = Whole(required=True)
    grind = Whole(required=True, explains="How often it was reground before.")


class RecipeShape(Shape):
    """What to take and how to put it together."""

    tool_spec = Text(required=True)
    holder = Text(required=True)
    holder_code = Text(required=True)
    holder_type = Text(required=True)
    holder_location = Text(allow_none=True)
    cutting_item = Text(required=True)
    designation = Text(required=True)
    grade = Text(allow_none=True)
    lot = Text(required=True)
    lot_code = Text(required=True)
    lot_location = Text(allow_none=True)
    pieces = fields.List(fields.Nested(PieceTaken), required=True)
    edge = Whole(required=True)
    edges = Whole(required=True)
    torque_nm = Number(allow_none=True)
    lf_nominal_mm = ExactLength(attribute="lf_nominal_tenths_um", allow_none=True)
    wf_nominal_mm = ExactLength(attribute="wf_nominal_tenths_um", allow_none=True)
    hf_nominal_mm = ExactLength(attribute="hf_nominal_tenths_um", allow_none=True)
    tolerance_mm = ExactLength(attribute="tolerance_tenths_um", allow_none=True)
    nose_radius_mm = ExactLength(attribute="nose_radius_tenths_um", allow_none=True)
    tip_orientation = Whole(allow_none=True)
    max_rpm = Number(allow_none=True)
    preset_minutes = Number(allow_none=True)


class FactQuery(PlainQuery):
    """What every list of facts takes; the one recorded last comes first."""

    as_of = At(explains="Only what is dated up to then.")
    limit = Whole(least=1, most=1_000, query=True, load_default=100, explains="Rows per page.")
    after = Whole(query=True, most=2**53, explains="``next`` of the page before.")
