"""Tools in machines: mounted, removed, corrected; lives that ended, confirmed."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint
from marshmallow import fields

from api.http.operation import Call, Reply, writes
from api.schemas.bodies import CorrectionBody, LifeConfirmationBody, RemovalBody
from api.schemas.facts import FactAnswer
from api.schemas.fields import ExactLength, Text
from api.schemas.mounts import DatumShape, MountBody, MountShape, OffsetShape
from api.schemas.results import shape_from
from crib.acts.confirm_life import ConfirmLife, LifeConfirmed, confirm_life
from crib.acts.correct_offset import CorrectOffset, OffsetCorrected, correct_offset
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.remove_tool import RemoveTool, ToolRemoved, remove_tool
from crib.views.lives_seen import check_shown_life

blueprint = Blueprint("mounts", __name__, description="Tools in machines: in, out, corrected.")

FACT_NAMES = {"fact_id": "fact", "code": "assembly"}

RemovalShape = shape_from(ToolRemoved, "RemovalShape", rename=FACT_NAMES)

LifeConfirmationShape = shape_from(
    LifeConfirmed, "LifeConfirmationShape", rename={"fact_id": "fact", "removal_id": "removal"}
)


class CorrectionShape(FactAnswer, OffsetShape):
    """What the control holds after a step."""

    assembly = Text(attribute="code", required=True)
    station = Text(required=True)
    steps_mm = ExactLength(
        attribute="steps_tenths_um", required=True, explains="Sum of the steps of that kind."
    )
    learned = Text(required=True)
    datum = fields.Nested(
        DatumShape,
        required=True,
        allow_none=True,
        metadata={"description": "Of the station by now; null for a size step."},
    )


@writes(blueprint, "/v1/mounts", MountShape(), body=MountBody())
def post_mount(call: Call) -> Reply:
    """Mount a tool: every mismatch at once, or what to key in."""
    body = dict(call.body)
    scanned = body.pop("scanned", {})
    command = MountTool(
        **body,
        scanned_station=scanned.get("station"),
        scanned_assembly=scanned.get("assembly"),
    )
    done = mount_tool(call.tx, call.present, command)
    return Reply(done, headers={"Location": f"/v1/mounts/{done.fact_id}"})


@writes(blueprint, "/v1/removals", RemovalShape(), body=RemovalBody())
def post_removal(call: Call) -> Reply:
    """Record that a tool came out, and what becomes of edge and holder."""
    done = remove_tool(call.tx, call.present, RemoveTool(**call.body))
    return Reply(done, headers={"Location": f"/v1/removals/{done.fact_id}"})


@writes(
    blueprint, "/v1/life-confirmations", LifeConfirmationShape(), body=LifeConfirmationBody()
)
def post_life_confirmation(call: Call) -> Reply:
    """Say that the record of an edge's life is right: the forecast then counts it in full."""
    command = ConfirmLife(**call.body)
    check_shown_life(call.site.plans.plan(call.present), command.removal_id, command.parts)
    done = confirm_life(call.tx, call.present, command)
    return Reply(done, headers={"Location": f"/v1/life-confirmations/{done.fact_id}"})


@writes(blueprint, "/v1/corrections", CorrectionShape(), body=CorrectionBody())
def post_correction(call: Call) -> Reply:
    """Record an offset step: what the control holds now, and what was learned."""
    done = correct_offset(call.tx, call.present, CorrectOffset(**call.body))
    return Reply(_correction(done), headers={"Location": f"/v1/corrections/{done.fact_id}"})


def _correction(done: OffsetCorrected) -> dict[str, Any]:
    offset = {name: getattr(done.offset, name) for name in type(done.offset).__slots__}
    return offset | {
        name: getattr(done, name) for name in type(done).__slots__ if name != "offset"
    }
