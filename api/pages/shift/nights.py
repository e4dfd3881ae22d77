"""The page of one machine's unattended stretches, and its supervisor's limit for them."""

from __future__ import annotations

from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, g, request

from api.http.site import this_site
from api.pages.acts import Complaint, act, fresh_key
from api.pages.render import page
from crib.errors import Invalid, Refusal
from crib.records.catalogue import MACHINES
from crib.records.values import print_cell, read_cell
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.record_reads import get_record
from crib.store.records import update_record
from crib.store.resolve import machine_id_by_name
from crib.views.night_view import nights_of
from crib.views.where_it_lies import places_of_sisters

blueprint = Blueprint("nights", __name__)

#: The column that holds the limit.
_LIMIT = MACHINES.column("night_limit_percent")


def night_address(machine: str) -> str:
    """The page of one machine's unattended stretches."""
    return f"/shift/nights/{quote(machine, safe='')}"


@blueprint.app_context_processor
def _addresses() -> dict[str, object]:
    return {"night_address": night_address, "sister_places": _places}


def _places() -> dict[str, str]:
    """Where measured sisters lie, by code, for the page that is made."""
    found: dict[str, str] | None = g.get("sister_places")
    if found is None:
        with this_site().store.read() as tx:
            found = g.sister_places = places_of_sisters(tx)
    return found


@blueprint.get("/shift/nights/<machine>")
def show_nights(machine: str, complaint: Complaint | None = None) -> Response:
    """The unattended stretches ahead of one machine."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    name = plan.shop.machine_named(machine)
    nights = nights_of(plan, name)
    with site.store.read() as tx:
        machine_id = machine_id_by_name(tx, name)
        record = get_record(tx, MACHINES, machine_id)
    typed = request.form.get(_LIMIT.name)
    return page(
        "shift_night.html",
        status=complaint.status if complaint else 200,
        machine=name,
        nights=nights,
        problems=nights.problems,
        now=plan.shop.now,
        complaint=complaint,
        key=fresh_key(),
        version=record["version"],
        typed=print_cell(_LIMIT, record[_LIMIT.name]) if typed is None else typed,
        shop_limit=site.plans.night_limit,
    )


@blueprint.post("/shift/nights/<machine>")
def keep_limit(machine: str) -> Response:
    """Keep the limit of a machine, or take it back where the field is empty."""

    def work(tx: Tx, _: datetime, __: str | None) -> str:
        machine_id = machine_id_by_name(tx, machine)
        text = request.form.get(_LIMIT.name, "").strip().removesuffix("%").strip()
        version = request.form.get("version", "")[:18]
        expected = int(version) if version.isdecimal() else None
        update_record(tx, MACHINES, machine_id, {_LIMIT.name: _read(text)}, expected)
        return night_address(machine)

    try:
        return act(work)
    except Refusal as refusal:
        shown: Response = show_nights(machine=machine, complaint=Complaint.of(refusal))
        return shown


def _read(text: str) -> object:
    """What was typed as the limit; None where nothing was."""
    if not text:
        return None
    try:
        return read_cell(_LIMIT, text.replace(",", "."))
    except Invalid as wrong:
        detail = wrong.sentence
        raise Invalid(
            sentence("The limit {detail}.", detail=detail),
            errors=[{"field": _LIMIT.name, "detail": detail}],
        ) from None
