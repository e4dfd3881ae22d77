"""Shapes of designations taken apart: inserts, holders and bars, material groups."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import Length, Number, Shape, Text, Whole, listed


class PositionShape(Shape):
    """One position of the text in a plain phrase."""

    position = Whole(required=True, explains="The standard's own number of the position.")
    text = Text(required=True)
    meaning = Text(required=True)
    value = fields.Raw(
        required=True,
        allow_none=True,
        metadata={
            "type": ["number", "string"],
            "description": "Millimetres or degrees as the phrase says, or a word; null where "
            "the letters do not tell it.",
        },
    )


def _length(explains: str = "") -> Length:
    return Length(required=True, allow_none=True, explains=explains or None)


def _number(explains: str = "") -> Number:
    return Number(required=True, allow_none=True, explains=explains or None)


def _text(explains: str = "") -> Text:
    return Text(required=True, allow_none=True, explains=explains or None)


class ToleranceShape(Shape):
    """Plus-minus values; of each a single one, or the range where nothing decides it."""

    d_mm = _length("Inscribed circle; null where only a range is known.")
    d_from_mm = _length()
    d_to_mm = _length()
    m_mm = _length("To the corner; null where only a range is known, or the insert is round.")
    m_from_mm = _length()
    m_to_mm = _length()
    s_mm = _length("Thickness.")
    s_from_mm = _length()
    s_to_mm = _length()


class InsertAnswer(Shape):
    """An insert; null where its letters leave a measure to the maker."""

    designation = Text(required=True, explains="As read: capitals, no blanks.")
    metric = _text("The same insert in metric numbers.")
    inches = _text("The same insert in inch numbers.")
    shape = Text(required=True)
    included_angle_deg = _number()
    clearance = Text(required=True)
    clearance_deg = _number()
    tolerance_class = Text(required=True)
    tolerance = fields.Nested(ToleranceShape, required=True)
    type = Text(required=True)
    size = Text(required=True)
    inscribed_circle_mm = _length()
    edge_length_mm = _length("Up to the sharp corner.")
    thickness_mm = _length()
    corner_radius_mm = _length("Null for a round insert and for one with a wiper edge.")
    faces = Whole(required=True, allow_none=True, explains="Faces that cut.")
    edges = Whole(required=True, allow_none=True, explains="Corners times faces that cut.")
    hand = _text("Cutting direction: R, L, N; null where not given.")
    maker = _text("The maker's own letters.")
    positions = listed(PositionShape, most=10, required=True)


class ShankLimitsShape(Shape):
    """Limits of size of one measure of a shank (ISO 286)."""

    of = Text(required=True, explains="height, width or diameter")
    tolerance = Text(required=True)
    least_mm = Length(required=True)
    greatest_mm = Length(required=True)


class HolderAnswer(Shape):
    """A holder or bar; null where its letters leave a measure to the maker."""

    designation = Text(required=True, explains="As read: capitals, no blanks.")
    kind = Text(required=True, explains="square shank or boring bar")
    clamping = Text(required=True)
    insert_shape = Text(required=True)
    included_angle_deg = _number()
    style = Text(required=True)
    edge_angle_deg = _number()
    clearance = Text(required=True)
    clearance_deg = _number()
    hand = Text(required=True)
    shank_height_mm = _length("Null for a bar.")
    shank_width_mm = _length("Null for a bar.")
    shank_diameter_mm = _length("Null for a square shank.")
    shank_limits = listed(ShankLimitsShape, most=2, required=True)
    length_mm = _length()
    size = Text(required=True, explains="Metric size number of its inserts.")
    inscribed_circle_mm = _length("Of its inserts.")
    maker = _text("The maker's own letters.")
    positions = listed(PositionShape, most=11, required=True)


class MaterialAnswer(Shape):
    """A group of workpiece materials and an application in it."""

    designation = Text(required=True, explains="As read: capitals, no blanks.")
    cutting_material = _text("Two letters; null where not given.")
    group = Text(required=True)
    name = Text(required=True)
    workpieces = Text(required=True)
    number = _text("Application number; null where only the group is given.")
    application = _text("Which way the number leans.")
    positions = listed(PositionShape, most=3, required=True)
