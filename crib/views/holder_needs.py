"""How many holders of each type the swaps ahead want, and where those of the shop are."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from crib.left_out import at_once
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import bench_calendar, make_swap_list
from crib.planning.holders_needed import HolderNeed, HolderStock, TiedHolder, holders_needed
from crib.planning.hours import BenchHours
from crib.records.catalogue import is_out_of_service
from crib.sentence import sentence


@dataclass(frozen=True, slots=True)
class HolderNeeds:
    """Needs of a horizon.

    Attributes:
        rows: Holder types, the shortest first.
        until: End of the horizon.
        problems: A sentence for each type that could not be worked out.
    """

    rows: tuple[HolderNeed, ...]
    until: datetime
    problems: tuple[str, ...] = ()


def holder_needs(plan: ShopPlan, hours: float) -> HolderNeeds:
    """Count the holders that the swaps of a horizon want at one time.

    Args:
        plan: The shop's plan.
        hours: Horizon [h], above 0 and at most 720.

    Raises:
        Invalid: A horizon out of range.
    """
    shop = plan.shop
    found = make_swap_list(plan, hours)
    shelf = plan.shelf
    type_of = {name: needs.holder_type for name, needs in shelf.specs.items()}
    tied = [
        TiedHolder(
            type_of[row.tool_spec],
            row.tool_spec,
            row.sister.minutes,
            row.needed_by,
            row.sister.state in ("ready", "measure"),
        )
        for row in found.rows
        if not row.removal
    ]
    waiting = Counter(one.holder_type for one in (*shelf.ready, *shelf.unmeasured))
    in_machine = {one.holder_id for one in plan.forecasts}
    owned: Counter[str] = Counter()
    mounted: Counter[str] = Counter()
    away: Counter[str] = Counter()
    for holder in shop.rows.holders:
        if holder.id in in_machine:
            mounted[holder.holder_type] += 1
        elif is_out_of_service(holder.condition):
            away[holder.holder_type] += 1
            continue
        owned[holder.holder_type] += 1
    types = sorted({*owned, *away, *(one.holder_type for one in tied)})
    stocks = {
        name: HolderStock(owned[name], away[name], mounted[name], waiting[name])
        for name in types
    }
    hours_of = BenchHours.of(bench_calendar(shop), shop.now)
    rows, problems = at_once(
        types,
        lambda some: holders_needed({name: stocks[name] for name in some}, tied, hours_of),
        lambda name: sentence(
            "How many holders of type {name} are wanted could not be worked out. "
            "Check the type, its holders and its tool specs. The service log has "
            "the details.",
            name=name,
        ),
    )
    return HolderNeeds(tuple(rows), found.until, problems)
