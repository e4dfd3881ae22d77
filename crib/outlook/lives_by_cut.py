"""Lives of edges with the cuts at which they were worn, by cutting item and material group."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from crib.life.constants_own import OwnLives
from crib.life.observations import WORN
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay, WornSums
from crib.outlook.unseen import seen_last
from crib.stock.assembly import STAYS_BUILT
from crib.store.machine_rows import StayRow

#: Share of an edge's wear that has to come from one item on one group, by a curve.
_MOSTLY: Final = 0.9

#: Spread of ln speed within one edge's life up to which its mean stands for all of it.
_ONE_CUT: Final = 0.25


@dataclass(slots=True)
class _Edge:
    """The stays of one edge added up; ``last`` that cut, ``out`` in which it came out."""

    last: Stay
    out: Stay
    wear: float = 0.0
    told: WornSums = field(default_factory=lambda: WornSums(0.0, 0.0, 0.0, 0.0, 0.0))
    kinds: int = 0


def lives_by_cut(shop: ShopNow) -> dict[tuple[int, str], tuple[OwnLives, int]]:
    """Edges that are over, by the item and the group of material that they cut last.

    Where nobody saw an edge end, its wear is taken half way through the dark.

    Returns:
        The lives of each item and group that any edge was mounted for, and how many edges
        were left out: no curve gave their wear, or they wore on other groups or at widely
        different speeds too.
    """
    edges: dict[tuple[int, str], list[_Edge]] = {
        stay.key[:2]: [] for stay in shop.stays if stay.key
    }
    for edge in _edges(shop).values():
        if edge.last.key is not None:
            edges[edge.last.key[:2]].append(edge)
    good = seen_last(shop)
    return {item: _lives(shop, item_edges, good) for item, item_edges in edges.items()}


def _edges(shop: ShopNow) -> dict[int, _Edge]:
    """Edges that are over by assembly; ``kinds`` counts changes of item or group."""
    out = {stay.row.assembly_id: stay for stay in shop.stays}
    edges: dict[int, _Edge] = {}
    for stay in shop.stays:
        final = out[stay.row.assembly_id]
        if not _is_over(shop, final.row):
            continue
        edge = edges.setdefault(stay.row.assembly_id, _Edge(stay, final))
        edge.wear += stay.wear
        before = edge.last.key
        if stay.key:
            edge.kinds += bool(before and stay.key[:2] != before[:2])
            edge.last = stay
        if stay.worn:
            edge.told = WornSums(*(a + b for a, b in zip(edge.told, stay.worn, strict=True)))
    return edges


def _is_over(shop: ShopNow, row: StayRow) -> bool:
    if row.end_us is not None and row.reason not in STAYS_BUILT:
        return True
    return shop.rows.assemblies[row.assembly_id].torn_down_us is not None


def _lives(
    shop: ShopNow, edges: Sequence[_Edge], good: Mapping[int, Stay]
) -> tuple[OwnLives, int]:
    """The edges that wore at a cut that their mean stands for; how many others there are.

    Args:
        shop: The shop.
        edges: Edges of one item and group that are over.
        good: Stays whose end nobody saw, as they were when last seen good, by mount id.
    """
    rows: list[tuple[float, bool, tuple[float, ...], int, int]] = []
    classes: dict[str, int] = {}
    mixed = 0
    for edge in edges:
        key = edge.last.key
        if key is None or edge.wear <= 0:
            continue
        cut = _one_cut(edge)
        if cut is None:
            mixed += 1
            continue
        kind = classes.setdefault(key.operation_class, len(classes))
        rows.append((*_end(shop, edge, good), cut, edge.last.part_id or 0, kind))
    lives = OwnLives(
        np.array([row[0] for row in rows], dtype=np.float64),
        np.array([row[1] for row in rows], dtype=bool),
        np.array([row[2] for row in rows], dtype=np.float64).reshape(-1, 3),
        np.array([row[3] for row in rows], dtype=np.int64),
        np.array([row[4] for row in rows], dtype=np.int64),
    )
    return lives, mixed


def _one_cut(edge: _Edge) -> tuple[float, float, float] | None:
    """Means of ln speed, feed and depth; None where they do not stand for the whole life."""
    told = edge.told
    if edge.kinds or told.wear < _MOSTLY * edge.wear:
        return None
    speed, feed, depth, square = (value / told.wear for value in told[1:])
    return (speed, feed, depth) if square - speed**2 <= _ONE_CUT**2 else None


def _end(shop: ShopNow, edge: _Edge, good: Mapping[int, Stay]) -> tuple[float, bool]:
    """Wear at the end of an edge's life, and whether wear ended it."""
    row = edge.out.row
    worn = shop.ending(row) == WORN
    seen = good.get(row.mount_id)
    if seen is None:
        return edge.wear, worn
    # worn half way through the dark; a break only tells that it was not worn until then
    return edge.wear - (edge.out.wear - seen.wear) * (0.5 if worn else 1.0), worn
