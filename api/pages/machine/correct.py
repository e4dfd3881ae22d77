"""Offset steps at a machine, by the increment of the control: one act for all axes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.pages.acts import Complaint, act, typed
from api.pages.machine.mis_scan import scans_on
from api.pages.machine.places import act_address
from api.pages.render import page
from api.pages.undo import leads_to_undone, undo_offer
from crib.acts.correct_offset import CorrectOffset, correct_offset, tell_correction
from crib.codes import strip_address
from crib.errors import Invalid, NotKnown, NotMounted, Refusal
from crib.metrology.offset import AXES, AxisOffset, plain_text
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow, station_row
from crib.units import tenths_um_from_in, tenths_um_from_mm
from crib.views.show_mount import MountShown, mount_in_station

blueprint = Blueprint("machine_correct", __name__)

_MOST_STEPS = len(AXES)


@dataclass(frozen=True, slots=True)
class AxisField:
    """One axis in the form.

    Attributes:
        offset: What the control holds.
        increment: Its least step as text in the unit of the control, without a sign.
        typed: What was typed before.
    """

    offset: AxisOffset
    increment: str
    typed: str


@blueprint.get("/machines/<machine>/correct")
@scans_on
def ask_correction(machine: str) -> Response:
    """By how much, and after the first part or later?"""
    return _form(strip_address(request.args.get("station", ""))[:200])


@blueprint.post("/machines/<machine>/correct")
@scans_on
def record_correction(machine: str) -> Response:
    """Record one step per axis that was given, all or none."""
    given = typed()

    def correct(tx: Tx, present: datetime, by: str | None) -> str:
        row = station_row(tx, resolve_station(tx, given.get("station", "")).id)
        kind = given.get("kind", "")
        facts = [
            correct_offset(
                tx, present, CorrectOffset(row.code, axis, change, kind, by=by)
            ).fact_id
            for axis, change in _changes(tx, row, given).items()
        ]
        told = ",".join(map(str, facts))
        return act_address(row.machine, f"corrections/{told}")

    try:
        return act(correct)
    except Refusal as refusal:
        return _form(given.get("station", ""), Complaint.of(refusal), given)


@blueprint.get("/machines/<machine>/corrections/<facts>")
@scans_on
@leads_to_undone
def show_corrected(machine: str, facts: str) -> Response:
    """What the control holds after the steps, and what was learned from them."""
    numbers = facts.split(",")[:_MOST_STEPS]
    if not all(text.isascii() and text.isdigit() and len(text) < 16 for text in numbers):
        raise NotKnown(_("There is no such offset step."))
    with this_site().store.read() as tx:
        done = [tell_correction(tx, int(text)) for text in numbers]
        station = resolve_station(tx, done[0].station)
    return page(
        "machine_corrected.html",
        machine=done[0].station.partition("/")[0],
        station_code=station.code,
        done=done,
        undo=undo_offer([one.fact_id for one in done]),
    )


def _changes(tx: Tx, row: StationRow, given: dict[str, str]) -> dict[str, int]:
    """The step of each axis that was given."""
    if given.get("right"):  # the first part came out right as it was
        stay = _stay(tx, row)
        return {one.axis: 0 for one in stay.offsets}
    read = tenths_um_from_in if row.offset_unit == "in" else tenths_um_from_mm
    changes: dict[str, int] = {}
    for axis in AXES:
        text = given.get(f"change_{axis}")
        if text is None:
            continue
        try:
            changes[axis] = read(text.replace(",", ".").replace(" ", ""))
        except Invalid as problem:
            raise Invalid(
                problem.sentence,
                errors=[{"field": f"change_{axis}", "detail": problem.sentence}],
            ) from problem
    if given.get("kind") == "size":
        changes = {axis: change for axis, change in changes.items() if change}
    if not changes:
        raise Invalid(_("No step was given: type one, or press plus or minus."))
    return changes


def _stay(tx: Tx, row: StationRow) -> MountShown:
    stay = mount_in_station(tx, row.id)
    if stay is None:
        raise NotMounted(
            sentence(
                "Nothing was in station {mark} at this moment: record the mount first.",
                mark=row.mark,
            ),
            facts={"station": row.mark},
        )
    return stay


def increment_text(row: StationRow) -> str:
    """The least step of a station's control in its unit, without a sign."""
    least = row.offset_increment_tenths_um
    return plain_text(least, row.offset_unit, least)


def _form(
    station: str, complaint: Complaint | None = None, given: dict[str, str] | None = None
) -> Response:
    kept = given or {}
    with this_site().store.read() as tx:
        row = station_row(tx, resolve_station(tx, station).id)
        stay = _stay(tx, row)
    increment = increment_text(row)
    was_first = any(step.correction_kind == "first_off" for step in stay.steps)
    return page(
        "machine_correct.html",
        complaint.status if complaint else 200,
        machine=row.machine,
        row=row,
        stay=stay,
        axes=[
            AxisField(one, increment, kept.get(f"change_{one.axis}", ""))
            for one in stay.offsets
        ],
        kind=kept.get("kind") or ("size" if was_first else "first_off"),
        complaint=complaint,
    )
