"""Taking a tool apart at the bench, after a question that says what becomes of its edge."""

from __future__ import annotations

from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act
from api.pages.render import page
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Refusal
from crib.floor.cautions import take_apart_cautions
from crib.store.engine import Tx
from crib.views.show_assembly import show_assembly

blueprint = Blueprint("bench_take_apart", __name__)


@blueprint.get("/bench/take-apart/<path:code>")
def ask(code: str) -> Response:
    """The question."""
    return _question(code)


@blueprint.post("/bench/take-apart/<path:code>")
def take_apart(code: str) -> Response:
    """Record that the tool was taken apart; its holder's page follows."""
    reason = request.form.get("reason", "").strip() or None

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        done = tear_down(tx, present, TearDown(code, reason, by=by))
        undo = "" if done.never_cut else f"?apart={done.fact_id}"
        return f"/C/{quote(done.holder, safe='/')}{undo}"

    try:
        return act(work)
    except Refusal as refusal:
        return _question(code, Complaint.of(refusal))


def _question(code: str, complaint: Complaint | None = None) -> Response:
    site = this_site()
    with site.store.read() as tx:
        tool = show_assembly(tx, site.clock(), code)
    return page(
        "bench_take_apart.html",
        complaint.status if complaint else 200,
        tool=tool,
        possible=tool.ended_at is None and tool.station is None,
        complaint=complaint,
        typed=request.form,
        cautions=take_apart_cautions(),
    )
