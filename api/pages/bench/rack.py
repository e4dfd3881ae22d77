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
from crib.views.rack_view import rack_view

blueprint = Blueprint("bench_rack", __name__)


@blueprint.get("/rack")
def rack_page() -> Response:
    """Which tools wait for which machine, and what is wrong with them."""
    site = this_site()
    present = site.clock()
    plan = site.plans.plan(present)
    with site.store.read() as tx:
        found = rack_view(tx, present, plan)
    return page("rack.html", found=found, present=present)


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
