"""What the runs ahead take from every edge that sits in a machine."""

from __future__ import annotations

from dataclasses import dataclass

from crib.left_out import by_tool
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Key, Stay


@dataclass(frozen=True, slots=True)
class CutAhead:
    """What the runs ahead of a machine take from an edge in one of its stations.

    Attributes:
        key: Key of the first run that uses the station; None where none does.
        spread: Prior standard deviation of ln(life) behind the key.
        basis: Where its wear per part comes from.
        per_part: Wear of one part of each run ahead, shape (runs,); 0 where not used.
        beyond: What of its first cut lies outside the range that its constants hold in.
    """

    key: Key | None
    spread: float
    basis: str
    per_part: tuple[float, ...]
    beyond: tuple[str, ...] = ()


def cuts_ahead(shop: ShopNow) -> dict[int, CutAhead]:
    """What lies ahead of the mounted edges, by mount id in the order of their stays.

    Edges in stations that were taken away since are left out.
    """
    known: dict[tuple[tuple[int, ...], int, int, int], CutAhead] = {}
    found: dict[int, CutAhead] = {}
    parts = {machine_id: one.ahead_parts for machine_id, one in shop.machines.items()}

    def look(stay: Stay) -> None:
        station = shop.rows.stations.get(stay.row.station_id)
        if stay.row.end_us is not None or station is None:
            return
        built = shop.rows.assemblies[stay.row.assembly_id]
        part_ids = parts[station.machine_id]
        place = shop.cutting.place(station.id)
        about = (part_ids, place, built.tool_spec_id, built.cutting_item_id)
        cut = known.get(about)
        if cut is None:
            cut = known[about] = cut_ahead(shop, part_ids, station.id, *about[2:])
        found[stay.row.mount_id] = cut

    by_tool(shop.stays, look, lambda stay: (stay.row.assembly_id,))
    return found


def cut_ahead(
    shop: ShopNow, part_ids: tuple[int, ...], station_id: int, spec_id: int, item_id: int
) -> CutAhead:
    """What runs of these parts take from an item, built to a spec, in a station."""
    takes = [
        shop.cutting.per_part(station_id, part_id, spec_id, item_id) for part_id in part_ids
    ]
    per_part = tuple(take.wear if take else 0.0 for take in takes)
    for part_id, take in zip(part_ids, takes, strict=True):
        if take:
            group = shop.cutting.material_group(part_id)
            key = Key(item_id, group, take.operation_class)
            return CutAhead(key, take.spread, take.basis, per_part, take.beyond)
    return CutAhead(None, 0.0, "", per_part)
