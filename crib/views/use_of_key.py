"""The cut that a key's edges make: where they run now, or ran last."""

from __future__ import annotations

from dataclasses import dataclass

from crib.cutting.operations import CutOperation, SpeedLimits
from crib.errors import Contradiction
from crib.outlook.shop_plan import ShopPlan
from crib.sentence import sentence
from crib.store.shop_records import SpecOfShop


@dataclass(frozen=True, slots=True)
class UseOfKey:
    """One use of a key's edges.

    Attributes:
        machine: Where.
        station: Its station.
        part: What is made.
        spec: The tool spec.
        wear_per_part: Wear units that a part costs.
        operations: What the edge cuts on a part.
        limits: Greatest spindle speeds there.
    """

    machine: str
    station: str
    part: str
    spec: SpecOfShop
    wear_per_part: float
    operations: tuple[CutOperation, ...]
    limits: SpeedLimits


def use_of_key(plan: ShopPlan, row: int) -> UseOfKey:
    """Where the edges of a key cut now, else where they cut last.

    Args:
        plan: The shop's plan.
        row: Row of the key.

    Raises:
        Contradiction: No part was counted with such an edge yet.
    """
    shop = plan.shop
    for stay, edge in zip(plan.expected.mounted, plan.edges, strict=False):
        station = shop.rows.stations[stay.row.station_id]
        ahead = zip(shop.machines[station.machine_id].ahead_parts, edge.per_part, strict=False)
        cut = next(((part, wear) for part, wear in ahead if wear > 0), None)
        if edge.key == row and cut is not None:
            return _use(plan, stay.row.station_id, stay.row.assembly_id, *cut)
    for stay in reversed(shop.stays):
        known = stay.key == plan.keys[row] and stay.row.station_id in shop.rows.stations
        if known and stay.part_id is not None and stay.parts and stay.wear > 0:
            place = stay.row.station_id, stay.row.assembly_id
            return _use(plan, *place, stay.part_id, stay.wear / stay.parts)
    raise Contradiction(
        sentence("No part was counted with such an edge yet, so nothing is known in parts.")
    )


def _use(
    plan: ShopPlan, station_id: int, assembly_id: int, part_id: int, wear: float
) -> UseOfKey:
    shop = plan.shop
    station = shop.rows.stations[station_id]
    spec_id = shop.rows.assemblies[assembly_id].tool_spec_id
    parts = {run.part_id: run.part for runs in shop.rows.runs.values() for run in runs}
    operations, limits = shop.cutting.cut(station_id, part_id, spec_id)
    return UseOfKey(
        station.machine,
        station.station,
        parts.get(part_id, ""),
        shop.rows.specs[spec_id],
        wear,
        operations,
        limits,
    )
