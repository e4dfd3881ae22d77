"""Wear that one part puts on an edge, in wear units, and what wear does to the size."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats
from crib.cutting.engagement import Engagement
from crib.errors import OutsideModel
from crib.life.taylor import TaylorConstants, life_min
from crib.sentence import sentence


def wear_per_part(engagements: Iterable[Engagement], constants: TaylorConstants) -> float:
    """Share of its promised life that an edge loses on one part: ``sum t_i / T_i``.

    Damage adds up linearly over operations and over different parts, so an edge carries its
    wear along (Palmgren-Miner's rule used for tool wear: common practice, no source).

    Args:
        engagements: The edge's operations on the part.
        constants: The speed-life curve; its n should be the one the engagements were made with.

    Returns:
        Wear units per part; 1 is the life that the constants promise.

    Raises:
        OutsideModel: An engagement whose cutting speed is not known.

    References:
        Taylor, On the Art of Cutting Metals, 1907, for T.
    """
    total = 0.0
    for cut in engagements:
        if cut.cutting_speed_m_min is None:
            raise OutsideModel(
                sentence(
                    "The wear of an operation needs its cutting speed; give "
                    "cutting_speed_m_min, or spindle_rpm and a diameter, or the tool's "
                    "life_parts."
                ),
                errors=[{"field": "cutting_speed_m_min", "detail": sentence("not given")}],
            )
        life = life_min(cut.cutting_speed_m_min, cut.feed_mm_rev, cut.depth_mm, constants)
        total += cut.equivalent_min / float(life)
    return total


class WornAt(NamedTuple):
    """Where an edge is worn: means over its cuts, each weighted by the wear that it puts on.

    The slopes of ln wear along 1/n, a/n and b/n are the first three.
    """

    ln_speed: float
    ln_feed: float
    ln_depth: float
    ln_speed_square: float


def worn_at(engagements: Iterable[Engagement], constants: TaylorConstants) -> WornAt:
    """Wear-weighted means of ln speed [m/min], ln feed [mm/rev] and ln depth [mm].

    A feed or depth that an operation does not have counts as the reference, as in its life.

    Raises:
        OutsideModel: As ``wear_per_part``; also where nothing is worn.
    """
    feed = constants.reference_feed_mm_rev or 1.0
    depth = constants.reference_depth_mm or 1.0
    wears, logs = [], []
    for cut in engagements:
        wears.append(wear_per_part([cut], constants))
        speed = cut.cutting_speed_m_min or 1.0
        logs.append(np.log([speed, cut.feed_mm_rev or feed, cut.depth_mm or depth]))
    if sum(wears) <= 0:
        raise OutsideModel(sentence("No cut wears this edge."))
    weights, table = np.array(wears) / sum(wears), np.array(logs)
    v, f, d = (weights @ table).tolist()
    return WornAt(v, f, d, float(weights @ table[:, 0] ** 2))


def wear_per_part_from_plain_guess(life_parts: float) -> float:
    """Wear units per part where a shop only knows "about N parts": ``1 / N``.

    Raises:
        OutsideModel: N is not a number above 0.
    """
    if not (math.isfinite(life_parts) and 0 < life_parts <= 1e9):
        raise OutsideModel(
            sentence(
                "life_parts is {life_parts}; it has to be above 0 and at most 1e9.",
                life_parts=repr(life_parts),
            ),
            facts={"quantity": "life_parts", "range": sentence("0 to 1e9")},
        )
    return 1 / life_parts


def size_growth_mm(
    wear_land_mm: ArrayLike, clearance_deg: ArrayLike, *, on_diameter: bool = True
) -> Floats:
    """How much an outside cut grows by a worn flank: ``VB tan(clearance)``, twice on diameter.

    Zero rake; geometry of the worn flank (e.g. DeGarmo, Materials and Processes in
    Manufacturing, chapter on cutting, from memory).

    Args:
        wear_land_mm: Flank wear land VB, any shape.
        clearance_deg: Clearance angle, 0 (no growth known) to below 90.
        on_diameter: Twice the radius, as lathes show size.

    Raises:
        OutsideModel: A negative land or an angle outside 0 to 60 degrees.

    Examples:
        >>> round(float(size_growth_mm(0.3, 7)), 6)
        0.073671
    """
    land = np.asarray(wear_land_mm, dtype=np.float64)
    angle = np.asarray(clearance_deg, dtype=np.float64)
    if not (np.all(np.isfinite(land)) and np.all(land >= 0)):
        raise OutsideModel(sentence("A wear land has to be a number from 0 up [mm]."))
    if not np.all((angle >= 0) & (angle <= 60)):
        raise OutsideModel(sentence("A clearance angle has to be from 0 to 60 degrees."))
    growth: Floats = np.asarray((2 if on_diameter else 1) * land * np.tan(np.radians(angle)))
    return growth
