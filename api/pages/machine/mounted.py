"""A mount on record: what was keyed in, and the first-off as the next step."""

from __future__ import annotations

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.machine.mis_scan import scans_on
from api.pages.render import page
from api.pages.undo import leads_to_undone, undo_offer
from crib.views.show_mount import show_mount

blueprint = Blueprint("machine_mounted", __name__)


@blueprint.get("/machines/<machine>/mounts/<int:fact>")
@scans_on
@leads_to_undone
def show_mounted(machine: str, fact: int) -> Response:
    """A mount."""
    with this_site().store.read() as tx:
        found = show_mount(tx, min(fact, 2**53))
    return page(
        "machine_mounted.html",
        machine=found.station.machine,
        found=found,
        undo=undo_offer([found.fact_id]),
        count_aside=request.args.get("count") == "aside",
    )
