"""What the forecast of a key stands on: lives since a change, boxes that differ."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from crib.arrays import Ints
from crib.clock import instant_from_us
from crib.life.signs import edge_signs
from crib.outlook.shop_plan import ShopPlan

#: A life from before a change is one that counts for less than this.
_HALF: Final = 0.5
#: Boxes that differ by less are alike for any shop: common practice, no source.
_DIFFERS: Final = 0.1
_MOST_BOXES: Final = 3


@dataclass(frozen=True, slots=True)
class BoxDiffers:
    """A box whose edges last otherwise than those of a new one.

    Attributes:
        lot: Its mark.
        life_factor: Median life of its edges over that of edges out of a new box.
    """

    lot: str
    life_factor: float


@dataclass(frozen=True, slots=True)
class StandsOn:
    """What a forecast stands on.

    Attributes:
        since: When the first life ended that came after the last change; null where none did.
        lives_since: Lives from then on, which count most.
        boxes: Boxes whose edges last otherwise, the most different first.
    """

    since: datetime | None
    lives_since: int
    boxes: tuple[BoxDiffers, ...]


def stands_on(plan: ShopPlan, index: int, wear_per_part: float) -> StandsOn:
    """What the forecast of a key stands on.

    Args:
        plan: The shop's plan.
        index: Row of the key.
        wear_per_part: Wear units that a part costs.
    """
    rows = np.flatnonzero(plan.histories.key_index == index)
    since, lives_since = changed_at(plan, index)
    return StandsOn(since, lives_since, _boxes(plan, index, rows, wear_per_part))


def changed_at(plan: ShopPlan, index: int) -> tuple[datetime | None, int]:
    """When the lives of a key changed, None where they did not; and how many ended since."""
    rows = np.flatnonzero(plan.histories.key_index == index)
    before = np.flatnonzero(plan.model.counts_still()[rows] < _HALF)
    if not len(before):
        return None, len(rows)
    after = rows[before[-1] + 1 :]
    if not len(after):
        return None, 0
    ended = plan.expected.lives.ended[int(after[0])].row.end_us
    return instant_from_us(ended or 0), len(after)


def _boxes(
    plan: ShopPlan, index: int, rows: Ints, wear_per_part: float
) -> tuple[BoxDiffers, ...]:
    marks = {one.id: one.lot for one in plan.shop.rows.lots}
    lots = [lot for lot in np.unique(plan.histories.lot[rows]).tolist() if lot in marks]
    if not lots:
        return ()
    signs = edge_signs(lot=[-1, *lots])
    new, *medians = plan.model.remaining(index, 0.0, wear_per_part, 0.5, signs)[:, 0].tolist()
    factors = [(median / new, marks[lot]) for lot, median in zip(lots, medians, strict=True)]
    factors.sort(key=lambda one: -abs(np.log(one[0])))
    return tuple(
        BoxDiffers(lot, factor) for factor, lot in factors if abs(factor - 1) >= _DIFFERS
    )[:_MOST_BOXES]
