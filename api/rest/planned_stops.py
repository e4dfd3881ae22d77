"""When machines stop anyway, and what is swapped there."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint
from marshmallow import fields

from api.http.operation import Call, Reply, reads
from api.http.paging import page_link
from api.rest.plan import machine_of, plan_of
from api.schemas.fields import At
from api.schemas.results import shape_from
from api.schemas.views import HoursQuery, PlanPage
from crib.views.planned_stops import PlannedStop, planned_stops

blueprint = Blueprint("planned stops", __name__, description="Stops ahead and their swaps.")

PlannedStopShape = shape_from(PlannedStop, "PlannedStopShape")


class PlannedStopPage(PlanPage):
    """Stops in order of time."""

    until = At(required=True)
    items = fields.List(fields.Nested(PlannedStopShape), required=True)


@reads(blueprint, "/v1/planned-stops", PlannedStopPage(), query=HoursQuery(), opens=False)
def list_planned_stops(call: Call) -> Reply:
    """List bar changes, shift starts, changeovers and other stops with their swaps."""
    plan = plan_of(call)
    found = planned_stops(plan, call.query["hours"], machine_of(call, plan))
    first, limit = call.query["after"], call.query["limit"]
    following = first + limit if first + limit < len(found.rows) else None
    answer: dict[str, Any] = {
        "as_of": plan.shop.now,
        "until": found.until,
        "next": following,
        "items": found.rows[first : first + limit],
        "problems": found.problems,
    }
    return Reply(answer, headers=page_link(call, following))
