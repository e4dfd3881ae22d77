"""How many holders the shop needs: a look at the swaps ahead."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint
from marshmallow import fields

from api.http.operation import Call, reads
from api.rest.plan import plan_of
from api.schemas.fields import At, Number, Problems, Shape, Whole
from api.schemas.results import shape_from
from api.schemas.views import AsOfQuery
from crib.planning.holders_needed import HolderNeed
from crib.views.holder_needs import holder_needs

blueprint = Blueprint("holder needs", __name__, description="Holders wanted and there.")


class HolderHoursQuery(AsOfQuery):
    """What the view takes."""

    hours = Number(
        above=0,
        most=720,
        query=True,
        load_default=168.0,
        explains="How far to look ahead [h].",
    )


HolderNeedShape = shape_from(HolderNeed, "HolderNeedShape")


class HolderNeedPage(Shape):
    """Holder types, the shortest first."""

    as_of = At(required=True)
    until = At(required=True)
    items = fields.List(fields.Nested(HolderNeedShape), required=True)
    problems = Problems()
    next = Whole(allow_none=True, required=True)


@reads(blueprint, "/v1/holder-needs", HolderNeedPage(), query=HolderHoursQuery(), opens=False)
def read_holder_needs(call: Call) -> dict[str, Any]:
    """List how many holders of each type the swaps ahead want at one time."""
    plan = plan_of(call)
    found = holder_needs(plan, call.query["hours"])
    return {
        "as_of": plan.shop.now,
        "until": found.until,
        "items": found.rows,
        "problems": [*found.problems, *plan.shop.problems],
        "next": None,
    }
