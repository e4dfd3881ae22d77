"""The page of what blocks: swaps without sisters, holders that run short, what to order."""

from __future__ import annotations

from datetime import timedelta

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.render import page
from crib.outlook.swap_list import blocked_rows, make_swap_list
from crib.views.holder_needs import holder_needs
from crib.views.reorder_items import DEMAND_DAYS, reorder_items

blueprint = Blueprint("blocked", __name__)

#: How far the page looks ahead for swaps and holders.
AHEAD = timedelta(days=7)


@blueprint.get("/shift/blocked")
def show_blocked() -> Response:
    """What is missing within a week."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    hours = AHEAD / timedelta(hours=1)
    needs, order = holder_needs(plan, hours), reorder_items(plan)
    return page(
        "shift_blocked.html",
        now=plan.shop.now,
        until=needs.until,
        problems=tuple(dict.fromkeys((*needs.problems, *order.problems))),
        blocked=blocked_rows(make_swap_list(plan, hours).rows),
        holders=[one for one in needs.rows if one.short_by],
        enough=[one for one in needs.rows if not one.short_by],
        order=order,
        demand_days=DEMAND_DAYS,
    )
