"""Pages about designations: what the letters of inserts, holders and materials say."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from flask import request
from marshmallow import Schema

from api.http.operation import Call
from api.http.site import this_site
from api.pages.numbers.mathml import Figure
from api.pages.numbers.shown import Body, Entry, Figures, Line, Result, Table, Working, words
from api.rest import designations as calls
from api.schemas.designations import HolderAnswer, InsertAnswer, MaterialAnswer
from crib.designation.explain import explain_holder, explain_insert, explain_material
from crib.designation.reading import read_any_holder, read_insert, read_material
from crib.designation.sizes import REGULAR_SIDES, edge_length_mm
from crib.errors import Refusal
from crib.sentence import sentence


def _explain(view: Callable[[Call, str], Any], shape: Schema) -> Callable[[Body], Body]:
    def work(body: Body) -> Body:
        site = this_site()
        call = Call(None, site, site.clock(), {}, None, request)
        try:
            printed: Body = shape.dump(view(call, body.get("text", "")))
        except Refusal as refusal:
            # There is one field only: whatever is wrong is wrong there.
            refusal.errors = [{"field": "text", "detail": refusal.sentence}]
            raise
        return printed

    return work


def _positions(_body: Body, answer: Body) -> list[Table]:
    rows = [
        (
            str(one["position"]),
            one["text"],
            one["meaning"],
            _shown(one["value"]),
        )
        for one in answer["positions"]
    ]
    return [
        Table(
            sentence("Position by position"),
            (sentence("Position"), sentence("Text"), sentence("Meaning"), sentence("Value")),
            rows,
        )
    ]


def _shown(value: object) -> str:
    if isinstance(value, str):
        return value
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _no_figures(_body: Body, _answer: Body) -> Figures:
    return Figures({})


def _insert_figures(_body: Body, answer: Body) -> Figures:
    circle, edge = answer["inscribed_circle_mm"], answer["edge_length_mm"]
    if circle is None or edge is None:
        return Figures({})
    figures: dict[str, Figure] = {"d": circle, "l": edge}
    shape = answer["shape"]
    if shape in REGULAR_SIDES:
        return Figures(figures | {"k": REGULAR_SIDES[shape]}, frozenset({"regular"}))
    if shape == "W":
        return Figures(figures, frozenset({"trigon"}))
    if answer["included_angle_deg"] is None:
        return Figures(figures, frozenset({"round"}))
    return Figures(figures | {"epsilon": answer["included_angle_deg"]}, frozenset({"rhombus"}))


INSERT: Final = Working(
    slug="insert-designation",
    title=sentence("Designation of an insert"),
    says=sentence("What every letter on the box says, and the measures that follow from it."),
    entries=(Entry("text", sentence("Designation"), "CCMT09T304", read=words),),
    work=_explain(calls.explain_insert_text, InsertAnswer()),
    figures=_insert_figures,
    lines=(
        Line("l = d / sin_deg(epsilon)", "mm", "rhombus"),
        Line("l = d * tan_deg(180 / k)", "mm", "regular"),
        Line("l = d / 2 * (1 / tan_deg(40) + 1 / tan_deg(80))", "mm", "trigon"),
        Line("l = d", "mm", "round"),
    ),
    results=(
        Result("designation", sentence("As read")),
        Result("inscribed_circle_mm", sentence("Inscribed circle, d"), "mm"),
        Result("edge_length_mm", sentence("Edge up to the sharp corner, l"), "mm"),
        Result("thickness_mm", sentence("Thickness"), "mm"),
        Result("corner_radius_mm", sentence("Corner radius"), "mm"),
        Result("clearance_deg", sentence("Clearance"), "°"),
        Result("edges", sentence("Edges")),
        Result("metric", sentence("In metric numbers")),
        Result("inches", sentence("In inch numbers")),
    ),
    source=sentence(
        "ISO 1832 (from memory; tables compared with charts that cite it); edge length "
        "from plane geometry."
    ),
    functions=(read_insert, explain_insert, edge_length_mm),
    call="GET /v1/designations/insert/TEXT",
    tables=_positions,
)

HOLDER: Final = Working(
    slug="holder-designation",
    title=sentence("Designation of a holder or boring bar"),
    says=sentence("What every letter on the shank says."),
    entries=(Entry("text", sentence("Designation"), "SCLCR1212F09", read=words),),
    work=_explain(calls.explain_holder_text, HolderAnswer()),
    figures=_no_figures,
    lines=(),
    results=(
        Result("designation", sentence("As read")),
        Result("kind", sentence("Kind")),
        Result("edge_angle_deg", sentence("Edge angle"), "°"),
        Result("hand", sentence("Hand")),
        Result("shank_height_mm", sentence("Shank height"), "mm"),
        Result("shank_width_mm", sentence("Shank width"), "mm"),
        Result("shank_diameter_mm", sentence("Shank diameter"), "mm"),
        Result("length_mm", sentence("Length"), "mm"),
        Result("size", sentence("Size of its inserts")),
    ),
    source=sentence("ISO 5608 for holders, ISO 6261 for boring bars (both from memory)."),
    functions=(read_any_holder, explain_holder),
    call="GET /v1/designations/holder/TEXT",
    tables=_positions,
)

MATERIAL: Final = Working(
    slug="material-designation",
    title=sentence("Group of workpiece materials"),
    says=sentence(
        "What a letter of the material groups stands for, and an application number with it."
    ),
    entries=(Entry("text", sentence("Group or application"), "P20", read=words),),
    work=_explain(calls.explain_material_text, MaterialAnswer()),
    figures=_no_figures,
    lines=(),
    results=(
        Result("name", sentence("Name")),
        Result("workpieces", sentence("Workpieces")),
        Result("application", sentence("Leans towards")),
    ),
    source=sentence("ISO 513 (from memory)."),
    functions=(read_material, explain_material),
    call="GET /v1/designations/material/TEXT",
    tables=_positions,
)
