"""One station: what is in it, what is left of it, what may be done, the next scan."""

from __future__ import annotations

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.machine.mis_scan import scans_on
from api.pages.render import page
from crib.store.resolve import resolve_station
from crib.views.fit_words import warning_of
from crib.views.machine_view import station_now
from crib.views.show_mount import mount_in_station

blueprint = Blueprint("machine_station", __name__)


@blueprint.get("/machines/<machine>/stations/<code>")
@scans_on
def show_station(machine: str, code: str) -> Response:
    """A station of a machine."""
    return station_page(code)


def station_page(text: str) -> Response:
    """The page of the station that a text names.

    Args:
        text: Its code, or MACHINE/STATION.
    """
    site = this_site()
    plan = site.plans.plan(site.clock())
    with site.store.read() as tx:
        station_id = resolve_station(tx, text).id
        found = station_now(tx, plan, station_id)
        stay = mount_in_station(tx, station_id)
    return page(
        "machine_station.html",
        wasm=True,
        found=found,
        stay=stay,
        fit=warning_of(plan, found.forecast) if stay else None,
        now=plan.shop.now,
    )
