"""What tools cost per part, by part and machine, over a stretch of days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from crib.errors import above_longest
from crib.floor.timeline import us_of
from crib.left_out import Kept, worked_out
from crib.life.observations import CENSORED
from crib.outlook.mounted_edges import swap_costs
from crib.outlook.shop_now import ShopNow
from crib.outlook.shop_plan import ShopPlan
from crib.sentence import sentence
from crib.stock.assembly import STAYS_BUILT
from crib.store.machine_rows import StayRow

LONGEST_DAYS = 400.0


@dataclass(frozen=True, slots=True)
class ToolCost:
    """Edges that came out of one machine for one tool spec.

    Attributes:
        machine: The machine.
        tool_spec: The spec.
        edges: Edges used up.
        failures: Of them, those that wore out early or broke in the cut.
        parts: Parts that the machine made meanwhile, all edges of the spec together.
        cost_minor: Planned swaps and failures at their costs [hundredths].
        cost_per_part_minor: The same per part; None where no part was counted.
    """

    machine: str
    tool_spec: str
    edges: int
    failures: int
    parts: int
    cost_minor: int
    cost_per_part_minor: float | None


def tool_costs(plan: ShopPlan, days: float = 30.0) -> Kept[ToolCost]:
    """Costs of edges that ended in the last days, the dearest first; failures apart.

    Args:
        plan: The shop's plan.
        days: How far to look back, above 0 and at most 400.

    Raises:
        Invalid: Days out of range.
    """
    if not 0 < days <= LONGEST_DAYS:
        raise above_longest("days", days, LONGEST_DAYS)
    shop = plan.shop
    since_us = us_of(shop.now - timedelta(days=days))
    stays: dict[tuple[str, str], list[StayRow]] = defaultdict(list)
    for stay in shop.stays:
        row = stay.row
        station = shop.rows.stations.get(row.station_id)
        if station is None or (row.end_us is not None and row.end_us < since_us):
            continue
        spec = shop.rows.specs[shop.rows.assemblies[row.assembly_id].tool_spec_id]
        stays[station.machine, spec.tool_spec].append(row)
    found = worked_out(
        stays,
        lambda of: _cost(shop, *of, stays[of], since_us),
        lambda of: sentence(
            "What tool spec {of} costs on machine {of2} could not be worked out. "
            "Check the prices and minutes of the spec and its items. The service "
            "log has the details.",
            of=of[1],
            of2=of[0],
        ),
    )
    found.sort(key=lambda cost: (-cost.cost_minor, cost.machine, cost.tool_spec))
    return found


def _cost(
    shop: ShopNow, machine: str, spec_name: str, stays: Sequence[StayRow], since_us: int
) -> ToolCost:
    edges = failures = parts = 0
    cost = 0.0
    for row in stays:
        station = shop.rows.stations[row.station_id]
        assembly = shop.rows.assemblies[row.assembly_id]
        begin, end = max(row.begin_us, since_us), row.end_us or us_of(shop.now)
        made = shop.charging(station).total_at(np.array([begin, end]))
        parts += int(made[1] - made[0])
        if row.reason is None or row.reason in STAYS_BUILT:
            continue
        spec = shop.rows.specs[assembly.tool_spec_id]
        planned, failure = swap_costs(spec, shop.rows.items[assembly.cutting_item_id])
        failed = shop.ending(row) != CENSORED
        edges += 1
        failures += failed
        cost += failure if failed else planned
    per_part = cost / parts if parts else None
    return ToolCost(machine, spec_name, edges, failures, parts, round(cost), per_part)
