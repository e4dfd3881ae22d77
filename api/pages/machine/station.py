"""One station: what is in it, what is left of it, what may be done, the next scan."""

from __future__ import annotations

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.machine.places import says_no
from api.pages.render import page
from crib.store.resolve import resolve_station
from crib.usecases.machine_view import station_now
from crib.usecases.show_mount import mount_in_station

blueprint = Blueprint("machine_station", __name__)


@blueprint.get("/machines/<machine>/stations/<code>")
@says_no
def show_station(machine: str, code: str) -> Response:
    """A station of a machine."""
    return station_page(code)


def station_page(text: str, told: str = "", status: int = 200) -> Response:
    """The page of the station that a text names.

    Args:
        text: Its code, or MACHINE/STATION.
        told: What a scan came to, if it came to nothing.
        status: Status of the page.
    """
    site = this_site()
    plan = site.plans.plan(site.clock())
    with site.store.read() as tx:
        station_id = resolve_station(tx, text).id
        found = station_now(tx, plan, station_id)
        stay = mount_in_station(tx, station_id)
    return page(
        "machine_station.html",
        status,
        wasm=True,
        found=found,
        stay=stay,
        told=told,
        now=plan.view.now,
    )
