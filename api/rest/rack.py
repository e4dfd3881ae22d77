"""The racks: tools put in them, and what waits there."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, reads, writes
from api.rest.plan import machine_of
from api.schemas.facts import FactBody
from api.schemas.fields import Text
from api.schemas.results import shape_from
from api.schemas.views import RackQuery
from crib.acts.put_in_rack import LONGEST_PLACE, PutInRack, RackPlace, put_in_rack
from crib.views.rack_view import RackView, rack_view

blueprint = Blueprint("rack", __name__, description="Measured tools that wait.")

RackPlaceShape = shape_from(
    RackPlace, "RackPlaceShape", rename={"fact_id": "fact", "code": "assembly"}
)
RackShape = shape_from(RackView, "RackShape")


class RackPlaceBody(FactBody):
    """Put a tool in a rack."""

    machine = Text(explains="Name of the machine whose rack it is; this or place.")
    place = Text(longest=LONGEST_PLACE, explains="Place in the rack, as the shop calls it.")


@writes(
    blueprint,
    "/v1/assemblies/<name:code>/rack-places",
    RackPlaceShape(),
    body=RackPlaceBody(),
)
def post_rack_place(call: Call, code: str) -> Reply:
    """Put a tool in the rack of a machine, until it is mounted."""
    done = put_in_rack(call.tx, call.present, PutInRack(code, **call.body))
    return Reply(done, headers={"Location": f"/v1/rack-places/{done.fact_id}"})


@reads(blueprint, "/v1/rack", RackShape(), query=RackQuery(), opens=False)
def read_rack(call: Call) -> RackView:
    """List built and measured tools that wait, by machine, and what is wrong with them."""
    plan = call.site.plans.plan(call.present)
    machine = machine_of(call, plan)
    with call.site.store.read() as tx:
        return rack_view(tx, call.present, plan, machine, call.query["hours"])
