"""The racks: what waits for which machine, and putting a measured tool there."""

from __future__ import annotations

from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act
from api.pages.bench.work import show_work
from api.pages.render import page
from crib.acts.put_in_rack import PutInRack, put_in_rack
from crib.errors import Refusal
from crib.store.engine import Tx
from crib.views.gauge_state import shift_end
from crib.views.rack_view import MachineRack, RackTool, rack_view

blueprint = Blueprint("bench_rack", __name__)


@blueprint.get("/rack")
def rack_page() -> Response:
    """What is wrong with waiting tools, what the shift needs; all others folded by rack."""
    site = this_site()
    present = site.clock()
    plan = site.plans.plan(present)
    with site.store.read() as tx:
        found = rack_view(tx, present, plan)
    q = request.args.get("q", "").strip()[:80]
    until = shift_end(plan.shop)
    racks = [
        MachineRack(rack.machine, tuple(tool for tool in rack.tools if _has(tool, q)))
        for rack in found.racks
    ]
    shown = [tool for rack in racks for tool in rack.tools]
    asking = [tool for tool in shown if not tool.ready or tool.also_there]
    wanted = [
        tool
        for tool in shown
        if tool not in asking and tool.swap_by is not None and tool.swap_by <= until
    ]
    wanted.sort(key=lambda tool: tool.swap_by or until)
    calm = [
        MachineRack(
            rack.machine, tuple(tool for tool in rack.tools if tool not in [*asking, *wanted])
        )
        for rack in racks
    ]
    return page(
        "rack.html",
        found=found,
        asking=asking,
        wanted=wanted,
        racks=[rack for rack in calm if rack.tools],
        until=until,
        q=q,
        present=present,
    )


def _has(tool: RackTool, q: str) -> bool:
    """Whether a tool has every word that was searched for, anywhere."""
    said = (
        tool.code,
        tool.tool_spec,
        tool.holder,
        tool.cutting_item,
        tool.machine,
        tool.station,
        tool.rack_machine,
        tool.place,
    )
    text = " ".join(one for one in said if one).casefold()
    return all(word in text for word in q.casefold().split())


@blueprint.post("/bench/rack/<path:code>")
def put_away(code: str) -> Response:
    """Put a tool in a rack and go to the next job."""
    machine = request.form.get("machine") or None
    place = request.form.get("place", "").strip() or None

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        done = put_in_rack(tx, present, PutInRack(code, machine, place, by=by))
        return f"/bench?racked={quote(done.code)}"

    try:
        return act(work)
    except Refusal as refusal:
        return show_work(code, complaint=Complaint.of(refusal))
