"""Since when a mounted edge has been past its point, and for how many parts."""

from __future__ import annotations

import math
from datetime import datetime
from typing import NamedTuple

import numpy as np

from crib.clock import instant_from_us
from crib.floor.timeline import us_of
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.planning.swaps import PAST, WHYS, StationPlan


class Overdue(NamedTuple):
    """For how many parts an edge has been past its point, and since when."""

    parts: int
    since: datetime


def overdue_of(
    shop: ShopNow, stay: Stay, age: float, plan: StationPlan, wear_now: float
) -> Overdue | None:
    """For how many parts an edge has been past its point, and since when."""
    if plan.first.why != WHYS[PAST] or wear_now <= 0 or age <= plan.swap_age:
        return None
    station = shop.rows.stations[stay.row.station_id]
    parts, output = (age - plan.swap_age) / wear_now, shop.charging(station)
    rest = shop.machines[station.machine_id].rest
    since = stay.row.begin_us
    if output.at_us.size:
        made = output.total[-1] + (rest.untold if rest else 0.0)
        at_us = np.interp(made - parts, output.total, output.at_us)
        since = max(since, min(round(float(at_us)), us_of(shop.now)))
    return Overdue(math.floor(parts), instant_from_us(since))
