"""Keys and lives of the shop's edges, as the life model wants them."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crib.life.observations import BROKEN, CENSORED, LifeHistories, life_histories
from crib.life.pooling import KeyTable, key_table
from crib.life.running import counted_wear
from crib.outlook.cuts_ahead import CutAhead
from crib.outlook.looks_at_edges import Look, looks_at_edges
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Key, Stay
from crib.outlook.unseen import seen_last
from crib.stock.assembly import STAYS_BUILT

#: Signs of an edge that nobody looked at.
NO_LOOK = Look(math.nan, math.nan, 0)


@dataclass(frozen=True, slots=True)
class Lives:
    """What the life model is fitted to.

    Attributes:
        keys: Every key that an edge wore under or will wear under next.
        spreads: Prior standard deviation of ln(life) of each, shape (keys,).
        histories: One per edge that ended.
        ended: The last stay of each of those, in their order.
        running: One per edge that still cuts, at the wear that counts.
        own: Number of each of those, by assembly id.
        ages: Wear of each assembly so far by id [wear units].
        looks: The last look at the wear of each assembly, by id.
    """

    keys: list[Key]
    spreads: list[float]
    histories: LifeHistories
    ended: list[Stay]
    running: LifeHistories
    own: dict[int, int]
    ages: dict[int, float]
    looks: dict[int, Look]


def gather_lives(shop: ShopNow, ahead: Iterable[CutAhead]) -> Lives:
    """Add up the stays of each edge.

    Args:
        shop: The shop.
        ahead: What the runs ahead take from edges that are mounted or will be.
    """
    wear: dict[int, float] = {}
    parts: dict[int, int] = {}
    last: dict[int, Stay] = {}
    final: dict[int, Stay] = {}
    for stay in shop.stays:
        assembly = stay.row.assembly_id
        wear[assembly] = wear.get(assembly, 0.0) + stay.wear
        parts[assembly] = parts.get(assembly, 0) + stay.parts
        final[assembly] = stay
        if stay.key is not None or assembly not in last:
            last[assembly] = stay
    keys: dict[Key, int] = {}
    spreads: list[float] = []
    rows: list[tuple[float, ...]] = []
    still: dict[int, int] = {}
    good, looks = seen_last(shop), looks_at_edges(shop)
    for assembly, stay in last.items():
        if stay.key is None:
            continue
        index = keys.setdefault(stay.key, len(keys))
        if index == len(spreads):
            spreads.append(stay.spread)
        if wear[assembly] <= 0:
            continue
        if (row := _life(shop, final[assembly], wear[assembly], parts[assembly], good)) is None:
            still[assembly] = index
            continue
        # In the order in which they ended, so that a new life comes last.
        ended_us = final[assembly].row.end_us or 0
        torn_us = shop.rows.assemblies[assembly].torn_down_us or 0
        look = looks.get(assembly, NO_LOOK)
        rows.append((max(ended_us, torn_us), index, *row, *look, assembly))
    # edges that have cut nothing yet, or will cut another part next
    for cut in ahead:
        if cut.key is not None and cut.key not in keys:
            keys[cut.key] = len(keys)
            spreads.append(cut.spread)
    rows.sort(key=lambda row: row[0])
    columns = zip(*rows, strict=True) if rows else ([] for _ in range(11))
    _, key, used, made_of, ends, lot, since_of, share, at, kind, which = columns
    over = [final[int(assembly)] for assembly in which]
    histories = life_histories(
        key,
        used,
        made_of,
        ends,
        lot=lot,
        since=since_of,
        seen_share=share,
        seen_at=at,
        seen_kind=kind,
        sure=[
            stay.row.sure_parts == int(made) for stay, made in zip(over, made_of, strict=True)
        ],
    )
    still = {one: key for one, key in still.items() if final[one].row.broken_us is None}
    running, own = _running(shop, still, wear, parts)
    return Lives(list(keys), spreads, histories, over, running, own, wear, looks)


def _running(
    shop: ShopNow, still: Mapping[int, int], wear: Mapping[int, float], parts: Mapping[int, int]
) -> tuple[LifeHistories, dict[int, int]]:
    """Edges that still cut as lives cut short, and the number of each by its assembly.

    Args:
        shop: The shop.
        still: Key of each, by assembly.
        wear: Wear of each assembly so far.
        parts: Parts of each.
    """
    counted = counted_wear([wear[one] for one in still])
    told = {one: age for one, age in zip(still, counted.tolist(), strict=True) if age > 0}
    running = life_histories(
        [still[one] for one in told],
        list(told.values()),
        [parts[one] * age / wear[one] for one, age in told.items()],
        np.full(len(told), CENSORED),
        lot=[shop.rows.assemblies[one].lot_id for one in told],
    )
    return running, {one: row for row, one in enumerate(told)}


def _life(
    shop: ShopNow, stay: Stay, wear: float, parts: int, good: Mapping[int, Stay]
) -> tuple[float, float, int, int, float] | None:
    """Wear, parts, ending, box and when last known good of an edge; None where it goes on.

    Args:
        shop: The shop.
        stay: Its last stay.
        wear: Wear of all its stays.
        parts: Parts of all its stays.
        good: Stays whose end nobody saw, as they were when last seen good.
    """
    row, built = stay.row, shop.rows.assemblies[stay.row.assembly_id]
    if (row.end_us is None or row.reason in STAYS_BUILT) and built.torn_down_us is None:
        return None
    ended = shop.ending(row)
    since, made = wear, float(parts)
    if (unseen := good.get(row.mount_id)) is not None:
        since -= stay.wear - unseen.wear
        if ended == BROKEN:  # somewhere in the dark: half of its parts were still cut
            made -= (stay.parts - unseen.parts) / 2
    return wear, made, ended, built.lot_id, since


def table_of_keys(shop: ShopNow, lives: Lives) -> KeyTable:
    """The keys with what makes them alike: tool material and grade, operation, material."""

    def numbered(labels: Sequence[Hashable]) -> list[int]:
        seen: dict[Hashable, int] = {}
        return [seen.setdefault(label, len(seen)) for label in labels]

    items = [shop.rows.items[key.cutting_item_id] for key in lives.keys]
    return key_table(
        [key.cutting_item_id for key in lives.keys],
        numbered([(item.tool_material, item.grade) for item in items]),
        numbered([key.operation_class for key in lives.keys]),
        numbered([key.material_group for key in lives.keys]),
        0.0,
        lives.spreads if lives.spreads else 0.4,
    )
