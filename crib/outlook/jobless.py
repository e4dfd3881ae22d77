"""Parts that machines make for no job that is known."""

from __future__ import annotations

from datetime import timedelta

from crib.floor.timeline import us_of
from crib.outlook.shop_now import ShopNow

#: Parts made longer ago for no known job say nothing of what a machine does now.
_JOBLESS = timedelta(hours=24)


def jobless_parts(shop: ShopNow) -> dict[str, int]:
    """Parts made for no known job by machines with tools in them, since their last run."""
    seats = shop.rows.stations
    filled = {
        seats[row.station_id].machine_id
        for row in (*shop.rows.stays, *shop.unknown)
        if row.end_us is None and row.station_id in seats
    }
    found: dict[str, int] = {}
    for machine_id in filled & shop.machines.keys():
        machine = shop.machines[machine_id]
        last_start = max((run.start_at or 0 for run in machine.began), default=0)
        parts = sum(
            one.parts
            for one in machine.without_run
            if us_of(one.since) >= last_start and one.until > shop.now - _JOBLESS
        )
        if parts:
            found[shop.rows.machines[machine_id].machine] = parts
    return found
