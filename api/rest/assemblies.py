"""Tools: built, measured."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.names import one_of
from api.http.operation import Call, Reply, reads, writes
from api.schemas.assemblies import BuildBody, BuiltShape, PresetBody, PresetShape
from api.schemas.bodies import TeardownBody
from api.schemas.results import shape_from
from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.gauge_trust import Override
from crib.acts.preset_tool import PresetDone, PresetTool, preset_tool
from crib.acts.tear_down import TearDown, TornDown, tear_down
from crib.metrology.preset import Reading
from crib.views.show_assembly import AssemblyShown, show_assembly

blueprint = Blueprint(
    "assemblies", __name__, description="Tools: built, measured, taken apart."
)


AssemblyShape = shape_from(AssemblyShown, "AssemblyShape", rename={"id": "fact"})
TeardownShape = shape_from(
    TornDown, "TeardownShape", rename={"fact_id": "fact", "code": "assembly"}
)


@writes(blueprint, "/v1/assemblies", BuiltShape(), body=BuildBody())
def post_assembly(call: Call) -> Reply:
    """Build a tool from a holder and an edge."""
    built = build_assembly(call.tx, call.present, BuildAssembly(**call.body))
    return Reply(built, headers={"Location": f"/v1/assemblies/{built.code}"})


@writes(blueprint, "/v1/assemblies/<name:code>/presets", PresetShape(), body=PresetBody())
def post_preset(call: Call, code: str) -> Reply:
    """Record a preset: its repeats become means, an uncertainty and a verdict."""
    body = dict(call.body)
    readings = [Reading(**reading) for reading in body.pop("readings")]
    override = body.pop("override", None)
    command = PresetTool(
        code, readings, override=Override(**override) if override else None, **body
    )
    done = preset_tool(call.tx, call.present, command)
    headers = {"Location": f"/v1/presets/{done.fact_id}"}
    return Reply(preset_answer(done), headers=headers)


@writes(blueprint, "/v1/assemblies/<name:code>/teardown", TeardownShape(), body=TeardownBody())
def post_teardown(call: Call, code: str) -> Reply:
    """Take a tool apart: its holder is free again."""
    done = tear_down(call.tx, call.present, TearDown(assembly=code, **call.body))
    return Reply(done, headers={"Location": f"/v1/teardowns/{done.fact_id}"})


@reads(blueprint, f"/v1/assemblies/{one_of('assemblies', 'code')}", AssemblyShape())
def read_assembly(call: Call, code: str) -> AssemblyShown:
    """Read one tool with everything on record about it."""
    return show_assembly(call.tx, call.present, code)


def preset_answer(done: PresetDone) -> dict[str, Any]:
    """A preset as its shape wants it."""
    measures = {one.measure: one for one in done.measures}
    return {
        "fact_id": done.fact_id,
        "at": done.at,
        "assembly": done.code,
        "superseded_code": done.superseded_code,
        "cutter_status": done.cutter_status,
        "readings": max((one.n for one in done.measures), default=0),
        "mean_mm": {name: one.mean_tenths_um for name, one in measures.items()},
        "standard_deviation_mm": {
            name: one.standard_deviation_mm for name, one in measures.items()
        },
        "type_a_mm": {name: one.type_a_mm for name, one in measures.items()},
        "expanded_uncertainty_mm": {
            name: one.expanded_uncertainty_mm for name, one in measures.items()
        },
        "outliers": [
            {"measure": name, "outlier": one.outlier}
            for name, one in measures.items()
            if one.outlier is not None
        ],
        "budgets": [{"measure": name, "budget": one.budget} for name, one in measures.items()],
        "accepted": done.accepted,
        "why_not": list(done.why_not),
        "cautions": list(done.cautions),
        "void_after": done.void_after,
        "gauge": done.gauge,
        "overridden": done.overridden,
    }
