"""The first page, and what each kind of problem means."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.here import person_here
from api.pages.render import page
from api.problems import no_such_address, rows_by_kind
from crib.left_out import or_instead
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.records.catalogue import GAUGES
from crib.sentence import sentence
from crib.store.records import list_records
from crib.store.revisions import revision
from crib.views.shift_summary import ShiftSummary, shift_summary

blueprint = Blueprint("front", __name__)

#: Who works with the shop, in the order of a tool's way.
ROLES = ("attendant", "operator", "supervisor")


@dataclass(frozen=True, slots=True)
class Needs:
    """What the shop needs now.

    Attributes:
        summary: The supervisor's answers.
        jobs: The swap behind each job of the bench, the first job in front.
        next_swap: The next swap that is not due yet.
        gauge_first: A gauge to check before anything can be measured; None where one can be
            used.
    """

    summary: ShiftSummary
    jobs: tuple[SwapRow, ...]
    next_swap: SwapRow | None
    gauge_first: str | None


@blueprint.get("/")
def index() -> Response:
    """What the shop needs now, and where to go from here."""
    needs = or_instead(_needs_now, "the answers of the front page", lambda: None)
    return page("front.html", wasm=True, needs=needs, roles=_roles(), now=this_site().clock())


def _roles() -> list[str]:
    """The three roles, the reader's own in front."""
    here = person_here()
    return sorted(ROLES, key=lambda one: here is None or one != here.role)


def _needs_now() -> Needs | None:
    site = this_site()
    plan = site.plans.plan(site.clock())
    if not plan.shop.rows.machines:
        return None
    with site.store.read() as tx:
        summary = shift_summary(tx, plan)
        gauges = len(list_records(tx, GAUGES))
    found = make_swap_list(plan)
    next_swaps = [
        row for row in found.rows if not row.standby and not row.is_due(summary.as_of)
    ]
    void = [one.gauge for one in summary.gauges if one.until is None]
    return Needs(
        summary,
        found.queue_rows,
        min(next_swaps, key=lambda row: row.swap_by, default=None),
        void[0] if len(void) == gauges > 0 else None,
    )


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
        return no_such_address(
            sentence("There is no kind of problem called {kind}.", kind=kind[:60])
        )
    return page("problem.html", kind=kind, row=row)


@blueprint.get("/problems")
def problem_list() -> Response:
    """Every kind of problem that this service answers with."""
    return page("problems.html", rows=sorted(rows_by_kind().items()))
