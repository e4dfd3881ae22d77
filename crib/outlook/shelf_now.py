"""What waits on the shelf for a machine, is free to be built, or lies in stock."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from crib.clock import instant_from_us
from crib.floor.timeline import us_of
from crib.left_out import each
from crib.outlook.shop_now import ShopNow
from crib.planning.shelf import FreeHolder, LotEdges, Shelf, SpecNeeds, WaitingAssembly
from crib.records.catalogue import is_out_of_service
from crib.sentence import sentence
from crib.stock.assembly import STAYS_BUILT
from crib.store.shop_records import HolderOfShop, LotOfShop
from crib.store.shop_rows import AssemblyRow

#: A removed edge past this share of its expected life cannot be a sister.
MOST_USED = 0.25


def make_shelf(shop: ShopNow) -> tuple[Shelf, list[str]]:
    """What waits, is free or in stock, and a sentence for each that could not be worked out.

    Args:
        shop: The shop.
    """
    rows = shop.rows
    mounted, used, last_reason = _stays_by_assembly(shop)
    holders = {row.id: row for row in rows.holders}
    built: set[int] = set()
    ready: list[WaitingAssembly] = []
    unmeasured: list[WaitingAssembly] = []
    living: list[AssemblyRow] = []
    for assembly in rows.assemblies.values():
        ended = assembly.torn_down_us is not None or (
            assembly.assembly_id in last_reason
            and last_reason[assembly.assembly_id] not in STAYS_BUILT
            and assembly.assembly_id not in mounted
        )
        if ended:
            continue
        built.add(assembly.holder_id)
        if assembly.assembly_id in mounted or used.get(assembly.assembly_id, 0.0) > MOST_USED:
            continue
        living.append(assembly)

    def wait(assembly: AssemblyRow) -> None:
        waiting, measured = _waiting(shop, assembly, holders)
        if waiting is not None:
            (ready if measured else unmeasured).append(waiting)

    failed = each(
        living,
        wait,
        lambda one: sentence(
            "It is not known whether tool {code} can be a sister. Check its holder "
            "and its preset. The service log has the details.",
            code=one.code,
        ),
    )
    lots, uncounted = _lots(shop)
    shelf = Shelf(
        ready=tuple(ready),
        unmeasured=tuple(unmeasured),
        holders=tuple(
            FreeHolder(row.holder, row.holder_type, row.location or "")
            for row in rows.holders
            if row.id not in built and not is_out_of_service(row.condition)
        ),
        lots=tuple(lots),
        specs={
            spec.tool_spec: SpecNeeds(
                spec.holder_type,
                rows.spec_items.get(spec.id, ()),
                spec.items_per_tool or 1,
                spec.preset_minutes,
                spec.torque_nm,
            )
            for spec in rows.specs.values()
        },
    )
    return shelf, failed + uncounted


def _lots(shop: ShopNow) -> tuple[list[LotEdges], list[str]]:
    """Edges in stock, and the problems of lots whose figures cannot be worked out."""
    found: list[LotEdges] = []

    def count(row: LotOfShop) -> None:
        left = row.unopened * (row.edges or 1) + row.opened_edges
        if left > 0:
            found.append(LotEdges(row.lot, row.cutting_item, left, row.location or ""))

    failed = each(
        shop.rows.lots,
        count,
        lambda row: sentence("The edges left of lot {lot} are not known.", lot=row.lot),
    )
    return found, failed


def _stays_by_assembly(shop: ShopNow) -> tuple[set[int], dict[int, float], dict[int, str]]:
    mounted: set[int] = set()
    used: dict[int, float] = {}
    reason: dict[int, str] = {}
    for stay in shop.stays:
        assembly = stay.row.assembly_id
        used[assembly] = used.get(assembly, 0.0) + stay.wear
        if stay.row.end_us is None:
            mounted.add(assembly)
        else:
            reason[assembly] = stay.row.reason or ""
    for row in shop.unknown:
        used[row.assembly_id] = math.inf  # nobody knows: no sister for anything
        if row.end_us is None:
            mounted.add(row.assembly_id)
        else:
            reason[row.assembly_id] = row.reason or ""
    return mounted, used, reason


def _waiting(
    shop: ShopNow, assembly: AssemblyRow, holders: Mapping[int, HolderOfShop]
) -> tuple[WaitingAssembly | None, bool]:
    holder = holders.get(assembly.holder_id)
    if holder is None:
        return None, False
    mark, holder_type = holder.holder, holder.holder_type
    if is_out_of_service(holder.condition):
        return None, False
    waiting = WaitingAssembly(
        assembly.code, shop.rows.specs[assembly.tool_spec_id].tool_spec, mark, holder_type
    )
    preset = shop.rows.presets.get(assembly.assembly_id)
    if preset is None or not preset.accepted or preset.void_after_us <= us_of(shop.now):
        return waiting, False
    return (
        replace(
            waiting,
            void_after=instant_from_us(preset.void_after_us),
            measured_at=instant_from_us(preset.at_us),
            measures=preset.measures,
        ),
        True,
    )
