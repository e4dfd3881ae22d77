"""Which cutting items to order, how many packs, and when each runs out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.arrays import Floats, Ints
from crib.planning.order_quantity import (
    USUAL_SERVICE_LEVEL,
    not_negative,
    outside,
    reorder_point,
)
from crib.sentence import sentence

#: Delivery time where a cutting item gives none [days]; common practice, no source.
USUAL_LEAD_DAYS = 7.0

#: Days of use that an order covers beyond the reorder point; common practice, no source.
USUAL_COVER_DAYS = 14.0

#: Beyond this a date says nothing any more [days].
_LONGEST_DAYS = 3650.0


@dataclass(frozen=True, slots=True)
class DailyDemand:
    """Edges wanted per day; the deviation of one day."""

    mean_per_day: float
    deviation_per_day: float


def daily_demand(
    days_from_start: Sequence[float] | Floats,
    edges: Sequence[int] | Ints,
    days: int,
) -> DailyDemand:
    """Mean and deviation of the demand of a day, days without any included.

    Args:
        days_from_start: When each demand falls [days], shape (demands,).
        edges: How many edges each takes, shape (demands,).
        days: Whole days that are looked at; demands outside do not count.

    Raises:
        OutsideModel: Less than one day.
    """
    if days < 1:
        raise outside("days", sentence("has to be 1 or more"))
    day = np.floor(np.asarray(days_from_start, dtype=np.float64)).astype(np.int64)
    inside = (day >= 0) & (day < days)
    per_day = np.bincount(
        day[inside], weights=np.asarray(edges, dtype=np.float64)[inside], minlength=days
    )
    mean = float(per_day.mean())
    # One day shows no spread: then the deviation is that of independent single demands.
    deviation = float(per_day.std(ddof=1)) if days > 1 else math.sqrt(mean)
    return DailyDemand(mean, deviation)


@dataclass(frozen=True, slots=True)
class StockItem:
    """A cutting item with its stock and its demand.

    Args:
        cutting_item: Which item.
        edges_left: Usable edges in stock.
        demand: Edges wanted per day.
        edges_per_piece: Edges of one new piece.
        pieces_on_order: Pieces on their way.
        lead_days: From order to delivery [days]; None for the usual.
        min_stock: Pieces that shall never be undercut.
        pack_size: Pieces in a pack.
        price_minor: Price of a piece, in minor units of money.
    """

    cutting_item: str
    edges_left: int
    demand: DailyDemand
    edges_per_piece: int = 1
    pieces_on_order: int = 0
    lead_days: float | None = None
    min_stock: int = 0
    pack_size: int = 1
    price_minor: int | None = None


@dataclass(frozen=True, slots=True)
class ReorderRow:
    """What to order of one item.

    Args:
        cutting_item: Which item.
        edges_left: Usable edges in stock.
        reorder_point: Edges at which to order.
        safety_stock: Edges of it that cover the spread of demand.
        order_by_at: When stock and orders on their way reach the reorder point; now or past.
        runs_out_at: When the stock alone is used up at the mean demand; None: not in 10 years.
        before_delivery: Whether that is before an order placed now can arrive.
        packs: Packs to order.
        pieces: Pieces in them.
        cost_minor: What they cost, in minor units; None where no price is known.
    """

    cutting_item: str
    edges_left: int
    reorder_point: float
    safety_stock: float
    order_by_at: datetime
    runs_out_at: datetime | None
    before_delivery: bool
    packs: int
    pieces: int
    cost_minor: int | None


def reorder_list(
    items: Sequence[StockItem],
    now_at: datetime,
    *,
    service_level: float = USUAL_SERVICE_LEVEL,
    cover_days: float = USUAL_COVER_DAYS,
    ahead_days: float = 0.0,
) -> list[ReorderRow]:
    """What to order, the item that runs out first on top.

    An order fills stock and orders on their way up to the reorder point and so many days of
    mean demand, in whole packs.

    Args:
        items: Items with stock and demand.
        now_at: The present.
        service_level: Chance that a delivery comes before the stock is out.
        cover_days: Days of use that an order covers beyond the reorder point [days].
        ahead_days: Also list what has to be ordered within so many days [days].

    Raises:
        OutsideModel: A figure out of its range.
    """
    not_negative(cover_days=cover_days, ahead_days=ahead_days)
    rows = [_reorder_row(item, now_at, service_level, cover_days, ahead_days) for item in items]
    far = now_at + timedelta(days=_LONGEST_DAYS)
    return sorted(
        (row for row in rows if row is not None),
        key=lambda row: (row.runs_out_at or far, row.cutting_item),
    )


def _reorder_row(
    item: StockItem,
    now_at: datetime,
    service_level: float,
    cover_days: float,
    ahead_days: float,
) -> ReorderRow | None:
    mean = item.demand.mean_per_day
    lead_days = USUAL_LEAD_DAYS if item.lead_days is None else item.lead_days
    point = reorder_point(mean, item.demand.deviation_per_day, lead_days, service_level)
    floor = max(point.reorder_point, item.min_stock * item.edges_per_piece)
    position = item.edges_left + item.pieces_on_order * item.edges_per_piece
    spare = position - floor
    until_days = max(0.0, spare / mean if mean else math.inf if spare > 0 else 0.0)
    wanted_edges = floor + mean * cover_days - position
    # At the point itself without any demand there is nothing to fill up.
    if until_days > ahead_days or wanted_edges <= 0:
        return None
    pieces = math.ceil(wanted_edges / item.edges_per_piece)
    packs = math.ceil(pieces / item.pack_size)
    last_days = item.edges_left / mean if mean else math.inf
    return ReorderRow(
        cutting_item=item.cutting_item,
        edges_left=item.edges_left,
        reorder_point=floor,
        safety_stock=point.safety_stock,
        order_by_at=now_at + timedelta(days=until_days),
        runs_out_at=now_at + timedelta(days=last_days) if last_days < _LONGEST_DAYS else None,
        before_delivery=last_days < lead_days,
        packs=packs,
        pieces=packs * item.pack_size,
        cost_minor=(
            None if item.price_minor is None else item.price_minor * packs * item.pack_size
        ),
    )
