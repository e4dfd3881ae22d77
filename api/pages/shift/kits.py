"""The page of a changeover kit: what stays, is pulled, built, goes back, and the minutes."""

from __future__ import annotations

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.render import page
from crib.outlook.changeovers import changeovers_ahead
from crib.views.kit_for_run import kit_for_run
from crib.views.where_it_lies import places_now

blueprint = Blueprint("kits", __name__)


def kit_address(run_id: int) -> str:
    """The page of a run's kit."""
    return f"/shift/kits/{run_id}"


@blueprint.get("/shift/kits/<int:run>")
def show_kit(run: int) -> Response:
    """What the changeover to a run takes."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    found = kit_for_run(plan, run)
    with site.store.read() as tx:
        taken = places_now(tx).of_kit(found.kit)
    ahead = next((one for one in changeovers_ahead(plan) if one.run_id == run), None)
    return page("shift_kit.html", found=found, kit=found.kit, taken=taken, ahead=ahead)
