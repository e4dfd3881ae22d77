"""The first page, and what each kind of problem means."""

from __future__ import annotations

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.render import page
from api.problems import no_such_address, rows_by_kind
from crib.left_out import or_instead
from crib.store.revisions import revision
from crib.views.shift_summary import ShiftSummary, shift_summary

blueprint = Blueprint("front", __name__)


@blueprint.get("/")
def index() -> Response:
    """What the shop needs now, and where to go from here."""
    summary = or_instead(_needs_now, "the answers of the front page", lambda: None)
    return page("front.html", wasm=True, summary=summary)


def _needs_now() -> ShiftSummary | None:
    site = this_site()
    plan = site.plans.plan(site.clock())
    if not plan.shop.rows.machines:
        return None
    with site.store.read() as tx:
        return shift_summary(tx, plan)


@blueprint.get("/live")
def live() -> dict[str, int]:
    """A number that grows with whatever is recorded: pages ask it whether to read again."""
    with this_site().store.read() as tx:
        return {"revision": revision(tx)}


@blueprint.get("/problems/<kind>")
def problem_page(kind: str) -> Response:
    """What one kind of problem means and what to do about it."""
    row = rows_by_kind().get(kind)
    if row is None:
        return no_such_address(f"There is no kind of problem called {kind[:60]}.")
    return page("problem.html", kind=kind, row=row)


@blueprint.get("/problems")
def problem_list() -> Response:
    """Every kind of problem that this service answers with."""
    return page("problems.html", rows=sorted(rows_by_kind().items()))
