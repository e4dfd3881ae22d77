"""Every edge in a machine as the planner takes it: its key, age, wear ahead and costs."""

from __future__ import annotations

import math
from collections.abc import Mapping

from crib.floor.timeline import us_of
from crib.left_out import by_tool
from crib.life.wear import size_growth_mm
from crib.outlook.cuts_ahead import CutAhead
from crib.outlook.lives import NO_LOOK, Lives
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.planning.due import MountedEdge
from crib.store.shop_records import ItemOfShop, SpecOfShop
from crib.units import TENTHS_UM_PER_MM

# Costs where a tool spec or item gives none, in hundredths of the shop's currency (plain
# defaults, common practice, no source): a minute of bench or machine, an edge, a failure.
MINUTE_MINOR = 100
EDGE_MINOR = 400
PRESET_MINUTES = 12.0
SWAP_MINUTES = 3.0
FAILURE_MINOR = 15_000


def mounted_edges(
    shop: ShopNow, ahead: Mapping[int, CutAhead], lives: Lives
) -> tuple[list[Stay], list[MountedEdge]]:
    """The edges in the machines whose key is known, and the stays that they are in."""
    place = {machine_id: index for index, machine_id in enumerate(shop.machines)}
    number = {key: index for index, key in enumerate(lives.keys)}
    costs: dict[tuple[int, int], tuple[float, float]] = {}
    mounted: list[Stay] = []
    edges: list[MountedEdge] = []

    def add(stay: Stay) -> None:
        cut = ahead.get(stay.row.mount_id)
        key = cut.key or stay.key if cut else None
        if cut is None or key is None:
            return
        station = shop.rows.stations[stay.row.station_id]
        built = shop.rows.assemblies[stay.row.assembly_id]
        made_of = built.tool_spec_id, built.cutting_item_id
        if made_of not in costs:
            costs[made_of] = swap_costs(
                shop.rows.specs[made_of[0]], shop.rows.items[made_of[1]]
            )
        age = lives.ages[stay.row.assembly_id] + unreported_wear(shop, stay, cut.per_part)
        if not math.isfinite(age):
            raise FloatingPointError("age", age)
        seen = lives.looks.get(stay.row.assembly_id, NO_LOOK)
        edges.append(
            MountedEdge(
                station.id,
                place[station.machine_id],
                number[key],
                age,
                cut.per_part,
                *costs[made_of],
                # one that broke is at its limit, whatever it was worn by
                _size_parts_left(shop, stay) if stay.row.broken_us is None else 0.0,
                built.lot_id,
                seen.share,
                seen.at,
                seen.kind,
                lives.own.get(stay.row.assembly_id, -1),
                shop.rows.specs[made_of[0]].swap_minutes or SWAP_MINUTES,
            )
        )
        mounted.append(stay)

    by_tool(shop.stays, add, lambda stay: (stay.row.assembly_id,))
    return mounted, edges


def unreported_wear(shop: ShopNow, stay: Stay, per_part: tuple[float, ...]) -> float:
    """Wear of the parts made since the machine's last reading, as far as it cut them."""
    machine = shop.machines[shop.rows.stations[stay.row.station_id].machine_id]
    rest = machine.rest
    if rest is None or not rest.untold:
        return 0.0
    now_us, last_us = us_of(shop.now), int(machine.output.at_us[-1])
    share = min(1.0, (now_us - stay.row.begin_us) / max(now_us - last_us, 1))
    return rest.untold * share * per_part[0]  # the run ahead of all others is the running one


def swap_costs(spec: SpecOfShop, item: ItemOfShop) -> tuple[float, float]:
    """Cost of a planned swap and of a failure [hundredths of the currency].

    Planned: the edge's share of its item's price, bench and machine minutes. A failure costs
    the same and the spec's failure cost beside it.
    """
    edge = EDGE_MINOR if item.price_minor is None else item.price_minor / (item.edges or 1)
    planned = (
        edge * (spec.items_per_tool or 1)
        + (spec.preset_minutes or PRESET_MINUTES) * MINUTE_MINOR
        + (spec.swap_minutes or SWAP_MINUTES) * MINUTE_MINOR
    )
    failure = FAILURE_MINOR if spec.failure_cost_minor is None else spec.failure_cost_minor
    return planned, planned + max(failure, 1)


def _size_parts_left(shop: ShopNow, stay: Stay) -> float | None:
    """Parts until the growth seen by size corrections reaches the wear limit's growth."""
    steps = shop.rows.size_corrections.get(stay.row.mount_id, ())
    change = steps[-1].sum_tenths_um if steps else 0
    station = shop.rows.stations[stay.row.station_id]
    spec = shop.rows.specs[shop.rows.assemblies[stay.row.assembly_id].tool_spec_id]
    if len(steps) < 2 or not change or not stay.parts:
        return None
    if not spec.wear_limit_mm or not spec.clearance_deg:
        return None
    limit_mm = float(
        size_growth_mm(
            spec.wear_limit_mm, spec.clearance_deg, on_diameter=bool(station.x_on_diameter)
        )
    )
    grown_mm = abs(change) / TENTHS_UM_PER_MM
    return max(limit_mm - grown_mm, 0.0) * stay.parts / grown_mm
