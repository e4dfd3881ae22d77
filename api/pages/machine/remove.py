"""A tool comes out: one touch per reason, and what becomes of edge and holder."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.language.preferences import preferences
from api.pages.acts import Complaint, act, typed
from api.pages.here import local_address
from api.pages.machine.mis_scan import scans_on
from api.pages.machine.mount import whole_number
from api.pages.machine.places import act_address
from api.pages.machine.words import REASON_WORDS, reasons
from api.pages.render import page
from api.pages.undo import leads_to_undone, undo_offer
from crib.acts.remove_tool import RemoveTool, remove_tool, tell_removal
from crib.codes import strip_address
from crib.errors import Invalid, Refusal
from crib.floor.cautions import removal_cautions
from crib.store.engine import Tx
from crib.store.resolve import resolve_station
from crib.units import tenths_um_from_in, tenths_um_from_mm
from crib.views.machine_view import station_now
from crib.views.show_mount import mount_in_station

blueprint = Blueprint("machine_remove", __name__)


@blueprint.get("/machines/<machine>/remove")
@scans_on
def ask_removal(machine: str) -> Response:
    """Why does it come out?"""
    station = strip_address(request.args.get("station", ""))[:200]
    return _form(station, request.args.get("then"))


@blueprint.post("/machines/<machine>/remove")
@scans_on
def record_removal(machine: str) -> Response:
    """Record that it came out, or show why not with everything kept."""
    given = typed()
    then = local_address(given.get("then"), "")

    def remove(tx: Tx, present: datetime, by: str | None) -> str:
        done = remove_tool(
            tx,
            present,
            RemoveTool(
                reason=given.get("reason", ""),
                station=given.get("station"),
                assembly=given.get("tool"),
                part_count=whole_number(given, "part_count"),
                flank_wear_tenths_um=_worn_land(given),
                by=by,
                note=given.get("note"),
            ),
        )
        aside = "aside" if done.part_count_refused else None
        return act_address(machine, f"removals/{done.fact_id}", count=aside, then=then)

    try:
        return act(remove)
    except Refusal as refusal:
        return _form(given.get("station", ""), then, Complaint.of(refusal), given)


@blueprint.get("/machines/<machine>/removals/<int:fact>")
@scans_on
@leads_to_undone
def show_removed(machine: str, fact: int) -> Response:
    """What a removal came to."""
    with this_site().store.read() as tx:
        done = tell_removal(tx, min(fact, 2**53))
        station = resolve_station(tx, done.station)
    return page(
        "machine_removed.html",
        machine=done.station.partition("/")[0],
        station_code=station.code,
        done=done,
        reason=_(REASON_WORDS[done.reason]),
        then=local_address(request.args.get("then"), ""),
        undo=undo_offer([done.fact_id]),
        count_aside=request.args.get("count") == "aside",
    )


def _worn_land(given: dict[str, str]) -> int | None:
    text = given.get("flank_wear")
    if text is None:
        return None
    read = tenths_um_from_in if preferences().unit == "in" else tenths_um_from_mm
    try:
        return read(text.replace(",", "."))
    except Invalid as problem:
        raise Invalid(
            problem.sentence, errors=[{"field": "flank_wear", "detail": problem.sentence}]
        ) from problem


def _form(
    station: str,
    then: str | None,
    complaint: Complaint | None = None,
    given: dict[str, str] | None = None,
) -> Response:
    site = this_site()
    plan = site.plans.plan(site.clock())
    with site.store.read() as tx:
        station_id = resolve_station(tx, station).id
        found = station_now(tx, plan, station_id)
        stay = mount_in_station(tx, station_id)
    return page(
        "machine_remove.html",
        complaint.status if complaint else 200,
        found=found,
        stay=stay,
        reasons=reasons(),
        then=local_address(then, ""),
        complaint=complaint,
        given=given or {},
        cautions=removal_cautions(),
    )
