"""Swaps that are due before an unattended stretch, and which of them cannot be made in time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from crib.clock import instant_from_us
from crib.left_out import each
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import LONGEST_HOURS, USUAL_HOURS, SwapRow
from crib.planning.night import MachineNight

#: Horizons of the lists that nights are read from [h]; a longer list begins like a shorter one.
_HORIZONS = (USUAL_HOURS, 48.0, 72.0, 168.0)


def with_swaps_in_time(plan: ShopPlan) -> ShopPlan:
    """The plan, made again where swaps for a next night cannot be made in time.

    Others are chosen then that do without them. Which sisters lack is found only once all
    swaps are planned.
    """
    minutes, late = swap_minutes(plan), set[int]()

    def look(night: MachineNight) -> None:
        begin_at = instant_from_us(night.begin_us)
        late.update(
            row.forecast.station_id
            for row in due_before(plan, night)
            if not can_be_made_before(row, begin_at, minutes)
        )

    # a night that fails here is told of where it is shown
    over = [one for one in plan.nights if one.ordinal == 0 and one.over_limit]
    each(over, look, lambda one: one.machine)
    return plan.without(frozenset(late)) if late else plan


def swap_minutes(plan: ShopPlan) -> dict[int, float | None]:
    """Minutes of one swap of every station that is filled or has to be, by station."""
    specs = {one.tool_spec: one for one in plan.shop.rows.specs.values()}
    return {
        station_id: spec.swap_minutes
        for station_id, one in plan.by_station().items()
        if (spec := specs.get(one.wanted or one.tool_spec))
    }


def can_be_made_before(
    row: SwapRow, begin_at: datetime, minutes: Mapping[int, float | None]
) -> bool:
    """Whether a swap can be over before a stretch, though it may be late for its edge."""
    if row.blocked:
        return False
    if row.ready_by is None:
        return True
    left_min = (begin_at - row.ready_by) / timedelta(minutes=1)
    return (minutes.get(row.forecast.station_id) or 0.0) <= left_min


def due_before(plan: ShopPlan, night: MachineNight) -> list[SwapRow]:
    """Swaps of the list that are due before a stretch, in the order of the walk.

    None of a stretch that has begun: nobody is there to make them.
    """
    now = plan.shop.now
    if night.begun:
        return []
    begin_at = instant_from_us(night.begin_us)
    ahead = (begin_at - now) / timedelta(hours=1)
    hours = next((one for one in _HORIZONS if one >= ahead), LONGEST_HOURS)
    earlier = [
        instant_from_us(one.end_us)
        for one in plan.nights
        if one.machine == night.machine and one.ordinal < night.ordinal
    ]
    since = max(earlier, default=now)
    rows = [
        row
        for row in make_swap_list(plan, hours, night.machine).rows
        if not row.standby and since <= row.swap_by <= begin_at
    ]
    return sorted(
        rows, key=lambda row: (row.forecast.path, row.forecast.tool_number, row.swap_by)
    )
