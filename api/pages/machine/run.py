"""Parts that belong to no run, on every page that shows a machine, and whose they are."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.pages.acts import Complaint, act, typed
from api.pages.here import local_address
from api.pages.machine.mount import whole_number
from api.pages.machine.overview import machine_page
from crib.acts.claim_parts import ClaimParts, claim_parts
from crib.clock import parse_instant, print_instant
from crib.errors import Invalid, Refusal
from crib.outlook.machine_told import MachineTold
from crib.outlook.to_put_right import ToPutRight
from crib.planning.parts_without_run import PartsWithoutRun
from crib.store.engine import Tx

blueprint = Blueprint("machine_run", __name__)


@blueprint.app_context_processor
def _words() -> dict[str, object]:
    return {
        "machine_told": _machine_told,
        "without_run": without_run,
        "to_put_right": _to_put_right,
        "page_address": _page_address,
        "instant_text": print_instant,
    }


def without_run(machine: str | None = None) -> list[PartsWithoutRun]:
    """Parts that belong to no run, of one machine or of all, for the page that is made."""
    site = this_site()
    machines = site.plans.plan(site.clock()).shop.machines
    found = [one for row in machines.values() for one in row.without_run]
    return [one for one in found if machine in (None, one.machine)]


def _to_put_right(machine: str | None = None) -> list[ToPutRight]:
    """What is to be put right, at one machine or at all."""
    site = this_site()
    found = site.plans.plan(site.clock()).shop.to_put_right
    return [one for one in found if machine in (None, one.machine)]


def _machine_told(machine: str) -> MachineTold:
    """What a machine does by its counts."""
    site = this_site()
    shop = site.plans.plan(site.clock()).shop
    return next(
        (one.told for one in shop.machines.values() if one.ahead.machine == machine),
        MachineTold(),
    )


def _page_address() -> str:
    return request.path


@blueprint.post("/machines/<machine>/run")
def claim(machine: str) -> Response:
    """Charge parts that belong to no run to one, or show why not."""
    given = typed()

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        run = whole_number(given, "run")
        if run is None:
            raise Invalid(_("Choose the run that made the parts."))
        since = parse_instant(given["since"]) if "since" in given else None
        claim_parts(tx, present, ClaimParts(run, since))
        return local_address(given.get("back"))

    try:
        return act(work)
    except Refusal as refusal:
        return machine_page(machine, Complaint.of(refusal), given)
