"""The pages of a shift: the whole shop, one machine large, and its unattended stretches."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.render import page
from api.pages.shift.kits import kit_address
from api.pages.shift.timeline import TimeAxis, draw_machine, draw_shop
from crib.outlook.changeovers import changeovers_ahead
from crib.outlook.shop_plan import ShopPlan
from crib.views.machine_needs import NOTHING, machine_needs
from crib.views.shift_summary import shift_summary
from crib.views.shift_view import ShiftView, machine_of, shift_view

blueprint = Blueprint("shift", __name__)

#: Horizons to choose from, the usual one first [h].
HOURS = (24, 48, 72)

#: Choices of machines beside all of them.
NEEDS = ("any",)

#: Machines that are shown before the others are folded, and how many a shop has where they
#: can be searched.
FIRST = 20
SEARCHED = 8

#: Swaps that are shown before the others are folded: at least, and at most of those due now.
FIRST_SWAPS = (4, 8)


def shift_machine_address(machine: str, hours: int = HOURS[0]) -> str:
    """The page of one machine's timeline."""
    more = "" if hours == HOURS[0] else f"?hours={hours}"
    return f"/shift/machines/{quote(machine, safe='')}{more}"


@blueprint.app_context_processor
def _addresses() -> dict[str, object]:
    return {
        "shift_machine_address": shift_machine_address,
        "kit_address": kit_address,
    }


def _given() -> tuple[ShopPlan, ShiftView, int]:
    site = this_site()
    plan = site.plans.plan(site.clock())
    asked = request.args.get("hours", "")
    hours = int(asked) if asked in map(str, HOURS) else HOURS[0]
    return plan, shift_view(plan, hours), hours


def _frame(view: ShiftView, hours: int) -> dict[str, Any]:
    axis = TimeAxis(view.now, view.until)
    return {
        "view": view,
        "axis": axis,
        "hours": hours,
        "choices": HOURS,
        "ticks": axis.hours(this_site().in_zone.time_zone),
    }


def _due_rows(view: ShiftView) -> int:
    least, most = FIRST_SWAPS
    return min(max(sum(row.is_due(view.now) for row in view.swaps), least), most)


@blueprint.get("/shift")
def show_shift() -> Response:
    """The whole shop over the shift."""
    plan, view, hours = _given()
    given = _frame(view, hours)
    with this_site().store.read() as tx:
        summary = shift_summary(tx, plan, view)
    lost = [one.machine for one in summary.quiet if one.state == "not_followed"]
    rows = machine_needs(view, lost)
    asked, need = request.args.get("machine", "").strip()[:60], request.args.get("need", "")
    shown = [one for one in rows if asked.casefold() in one.shift.machine.casefold()]
    if need in NEEDS:
        shown = [one for one in shown if one.need != NOTHING]
    drawing = draw_shop(TimeAxis(view.now, view.until), [one.shift for one in shown])
    kits = changeovers_ahead(plan)
    return page(
        "shift.html",
        summary=summary,
        machines=shown,
        first=FIRST,
        due_rows=_due_rows(view),
        many=len(rows) > SEARCHED,
        asked=asked,
        need=need if need in NEEDS else "",
        drawing=drawing,
        strips=drawing.by_name,
        kits=kits,
        problems=(*view.left_out, *drawing.problems, *kits.problems),
        **given,
    )


@blueprint.get("/shift/machines/<machine>")
def show_machine(machine: str) -> Response:
    """All stations of one machine."""
    plan, view, hours = _given()
    found = machine_of(view, machine)
    drawing = draw_machine(TimeAxis(view.now, view.until), found)
    kits = changeovers_ahead(plan, found.machine)
    return page(
        "shift_machine.html",
        drawing=drawing,
        strips=drawing.by_name,
        found=found,
        night=next((one for one in view.nights if one.night.machine == found.machine), None),
        kits=kits,
        problems=(*drawing.problems, *kits.problems),
        **_frame(view, hours),
    )
