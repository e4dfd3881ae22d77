"""All machines, and one machine drawn as its slides and stations."""

from __future__ import annotations

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language.catalogue import locale_of
from api.language.preferences import preferences
from api.pages.acts import Complaint
from api.pages.machine.places import (
    act_address,
    machine_address,
    place_of,
    says_number,
    station_address,
)
from api.pages.machine.words import reasons
from api.pages.render import page
from crib.clock import print_instant
from crib.codes import strip_address
from crib.views.machine_view import machine_now, machines_now

blueprint = Blueprint("machine_overview", __name__)


@blueprint.app_context_processor
def _addresses() -> dict[str, object]:
    return {
        "machine_address": machine_address,
        "station_address": station_address,
        "place_of": place_of,
        "says_number": says_number,
        "act_address": act_address,
        "page_given": _page_given,
        "reason_words": reasons,
    }


def _page_given() -> dict[str, str]:
    """What the scripts of a machine page get: when it was made, how instants are read."""
    site = this_site()
    return {
        "shown_at": print_instant(site.clock()),
        "zone": site.in_zone.time_zone.key,
        "locale": str(locale_of(preferences().language)).replace("_", "-"),
    }


@blueprint.get("/machines")
def list_machines() -> Response:
    """Every machine and what is due next at it."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    tool = strip_address(request.args.get("tool", ""))[:200]
    with site.store.read() as tx:
        machines = machines_now(tx, plan)
    return page("machines.html", machines=machines, now=plan.shop.now, tool=tool)


@blueprint.get("/machines/<machine>")
def show_machine(machine: str) -> Response:
    """One machine: the next scan, what is due, every station, its counter."""
    return machine_page(machine)


def machine_page(
    machine: str, complaint: Complaint | None = None, given: dict[str, str] | None = None
) -> Response:
    """The page of a machine, with what was typed about its counter where that is refused."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    with site.store.read() as tx:
        found = machine_now(tx, plan, machine)
    return page(
        "machine.html",
        status=complaint.status if complaint else 200,
        wasm=True,
        found=found,
        now=plan.shop.now,
        complaint=complaint,
        given=given or {},
    )
