"""The page of one machine's unattended stretches, and its supervisor's limit for them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import once, this_site
from api.pages.acts import Complaint, act, fresh_key, typed
from api.pages.render import page
from crib.acts.choose_night import ChooseNight, choose_night
from crib.errors import Invalid, Refusal
from crib.planning.night_options import UNTIL
from crib.records.catalogue import MACHINES
from crib.records.columns import Column
from crib.records.values import print_cell, read_cell
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.night_rows import NightChoiceRow, night_choices_after
from crib.store.record_reads import get_record
from crib.store.records import update_record
from crib.store.resolve import machine_id_by_name
from crib.views.decided_nights import decision_state, decision_told
from crib.views.night_view import NightView, nights_of
from crib.views.where_it_lies import Places, places_now

blueprint = Blueprint("nights", __name__)

#: The columns that hold a limit.
_LIMITS = (MACHINES.column("night_limit_percent"), MACHINES.column("night_limit_loss"))
#: Nothing to complain about.
_FINE = Complaint(200, "", {})


def night_address(machine: str) -> str:
    """The page of one machine's unattended stretches."""
    return f"/shift/nights/{quote(machine, safe='')}"


@blueprint.app_context_processor
def _addresses() -> dict[str, object]:
    return {
        "night_address": night_address,
        "sister_places": _places,
        "night_decision": _decision,
        "night_decision_state": _decision_state,
    }


@once
def _places() -> Places:
    """Where sisters lie, for the page that is made."""
    with this_site().store.read() as tx:
        return places_now(tx)


def _decision(one: NightView) -> str | None:
    """What holds for a stretch, in words; None where nobody has decided yet."""
    return decision_told(_choices(), one)


def _decision_state(one: NightView) -> str | None:
    """Whether that keeps its limit; ``open`` where nobody decided before it began."""
    return decision_state(_choices(), one)


@once
def _choices() -> list[NightChoiceRow]:
    site = this_site()
    with site.store.read() as tx:
        return night_choices_after(tx, site.clock())


@blueprint.get("/shift/nights/<machine>")
def show_nights(
    machine: str, complaint: Complaint | None = None, undecided: Complaint | None = None
) -> Response:
    """The unattended stretches ahead of one machine.

    Args:
        machine: Its name.
        complaint: Why a limit was not kept.
        undecided: Why a decision was not kept.
    """
    site = this_site()
    plan = site.plans.plan(site.clock())
    name = plan.shop.machine_named(machine)
    nights = nights_of(plan, name)
    with site.store.read() as tx:
        machine_id = machine_id_by_name(tx, name)
        record = get_record(tx, MACHINES, machine_id)
    typed = {
        column.name: request.form.get(column.name, print_cell(column, record[column.name]))
        for column in _LIMITS
    }
    return page(
        "shift_night.html",
        status=(complaint or undecided or _FINE).status,
        machine=name,
        nights=nights,
        problems=nights.problems,
        now=plan.shop.now,
        complaint=complaint,
        undecided=undecided,
        key=fresh_key(),
        version=record["version"],
        typed=typed,
        shop_limit=site.plans.night_limit,
    )


@blueprint.post("/shift/nights/<machine>")
def keep_limit(machine: str) -> Response:
    """Keep the limits of a machine, or take back what is left empty."""

    def work(tx: Tx, _: datetime, __: str | None) -> str:
        machine_id = machine_id_by_name(tx, machine)
        limits = {column.name: _read(column) for column in _LIMITS}
        version = request.form.get("version", "")[:18]
        expected = int(version) if version.isdecimal() else None
        update_record(tx, MACHINES, machine_id, limits, expected)
        return night_address(machine)

    try:
        return act(work)
    except Refusal as refusal:
        shown: Response = show_nights(machine=machine, complaint=Complaint.of(refusal))
        return shown


@blueprint.post("/shift/nights/<machine>/choices")
def keep_choice(machine: str) -> Response:
    """Keep what the person at the screen decides for one stretch."""

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        form = typed()
        choice = form.get("choice", "")
        command = ChooseNight(
            machine,
            _instant("begins_at", form),
            _instant("ends_at", form),
            choice,
            _instant("until", form) if choice == UNTIL else None,
            by=by,
        )
        choose_night(tx, present, command)
        return night_address(machine)

    try:
        return act(work)
    except Refusal as refusal:
        shown: Response = show_nights(machine=machine, undecided=Complaint.of(refusal))
        return shown


def _instant(name: str, form: Mapping[str, str]) -> datetime:
    """An instant that the form carries."""
    try:
        return datetime.fromisoformat(form.get(name, ""))
    except ValueError:
        detail = sentence("Reload the page: its form does not say which night it is for.")
        raise Invalid(detail, errors=[{"field": name, "detail": detail}]) from None


def _read(column: Column) -> object:
    """What was typed as a limit; None where nothing was."""
    text = request.form.get(column.name, "").strip().removesuffix("%").strip()
    if not text:
        return None
    try:
        return read_cell(column, text.replace(",", "."))
    except Invalid as wrong:
        detail = wrong.sentence
        told = (
            sentence("The limit {detail}.", detail=detail)
            if column.name == "night_limit_percent"
            else sentence("The limit of the loss {detail}.", detail=detail)
        )
        raise Invalid(told, errors=[{"field": column.name, "detail": detail}]) from None
