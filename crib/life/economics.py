"""Cutting speed of least cost and of greatest output, from Taylor's curve.

Cost and time of a part fall with the speed up to their optimum and rise beyond it. Where the
spindle does not reach the optimum, its highest speed is the best there is.

Formula letters: n and C of ``v T^n = C``, Tt minutes to change an edge, Co machine rate per
minute, Ct cost of an edge. Source: Groover, Fundamentals of Modern Manufacturing, section on
machining economics (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from crib.cutting.kinematics import spindle_rpm, surface_speed_m_min
from crib.cutting.operations import SpeedLimits, lowest_limit
from crib.errors import OutsideModel
from crib.life.taylor import TaylorConstants, life_min, speed_for_life_m_min
from crib.sentence import figure, sentence, together


@dataclass(frozen=True, slots=True)
class CutCosts:
    """What a change of edge and a minute of the machine cost, in one money."""

    change_min: float
    machine_rate_per_min: float
    edge_cost: float


@dataclass(frozen=True, slots=True)
class SpeedChoice:
    """One speed and what it brings; minutes, cost and revolutions are None without a diameter.

    ``limited_by`` is whose greatest spindle speed keeps it below the optimum; None: nobody's.
    """

    cutting_speed_m_min: float
    life_min: float
    cut_min: float | None
    part_min: float | None
    part_cost: float | None
    spindle_rpm: float | None = None
    limited_by: str | None = None


#: Cuts that can be meant [min].
_SHORTEST_MIN: Final = 1e-9
_LONGEST_MIN: Final = 1e6


def edge_cost(price: float, edges: int, used_share: float = 1.0) -> float:
    """Cost of one edge of an insert, ``Ct = Pt / ne`` (Groover, from memory).

    Args:
        price: Price of the insert, in any money.
        edges: Its edges.
        used_share: Share of the edges that is really used: some chip, some are forgotten.

    Raises:
        OutsideModel: A negative price, no edge, a share that is not above 0 and at most 1.
    """
    for value, name, fits in (
        (price, "price", 0 <= price <= 1e12),
        (edges, "edges", 1 <= edges <= 1_000),
        (used_share, "used_share", 0 < used_share <= 1),
    ):
        if not fits:
            raise OutsideModel(
                sentence(
                    "{name} is {value}; no cost of an edge follows from it.",
                    name=name,
                    value=repr(value),
                ),
                errors=[{"field": name, "detail": sentence("is not valid")}],
            )
    return price / (edges * used_share)


def least_cost_life_min(n: float, costs: CutCosts) -> float:
    """Life of least cost ``(1/n - 1) (Tt + Ct/Co)`` [min].

    Raises:
        OutsideModel: n not between 0 and 1, or figures that leave no cost to weigh.
    """
    return _life(n, costs.change_min + costs.edge_cost / _rate(costs))


def most_output_life_min(n: float, costs: CutCosts) -> float:
    """Life of greatest output ``(1/n - 1) Tt`` [min].

    Raises:
        OutsideModel: n not between 0 and 1, or a change that takes no time.
    """
    return _life(n, costs.change_min)


def cut_minutes(
    cutting_speed_m_min: float, diameter_mm: float, path_length_mm: float, feed_mm_rev: float
) -> float:
    """Minutes in cut ``pi D L / (1000 v f)``.

    Raises:
        OutsideModel: A cut that is over at once, or never ends.
    """
    per_min = 1000 * cutting_speed_m_min * feed_mm_rev
    area = math.pi * diameter_mm * path_length_mm
    if not (_SHORTEST_MIN * per_min <= area <= _LONGEST_MIN * per_min and area > 0):
        names = ("diameter_mm", "path_length_mm", "feed_mm_rev")
        raise OutsideModel(
            sentence(
                "The cut is over at once or never ends; {names} together have to make "
                "between {shortest_min} and {longest_min} minutes of it.",
                names=together(", ", names),
                shortest_min=figure(_SHORTEST_MIN, "g"),
                longest_min=figure(_LONGEST_MIN, "g"),
            ),
            errors=[{"field": name, "detail": sentence("makes no such cut")} for name in names],
        )
    return area / per_min


def at_speed(
    cutting_speed_m_min: float,
    constants: TaylorConstants,
    costs: CutCosts,
    cut_min: float | None,
    handling_min: float = 0.0,
    *,
    whole_parts: bool = False,
) -> SpeedChoice:
    """Minutes and cost per part at a speed: ``Th + Tm + Tt/np``, ``Co (..) + Ct/np``.

    Args:
        cutting_speed_m_min: The speed.
        constants: The curve at the feed and depth of the cut.
        costs: Change, machine and edge.
        cut_min: Minutes in cut per part; None where they are not known.
        handling_min: Minutes to load and unload.
        whole_parts: An edge makes whole parts only, ``np = floor(T/Tm)``, at least one.

    Raises:
        OutsideModel: A speed that is not above 0.
    """
    life = float(life_min(cutting_speed_m_min, None, None, constants))
    if cut_min is None:
        return SpeedChoice(cutting_speed_m_min, life, None, None, None)
    parts = life / cut_min
    if whole_parts:
        parts = max(1.0, math.floor(parts + 1e-9))
    minutes = handling_min + cut_min + costs.change_min / parts
    cost = costs.machine_rate_per_min * minutes + costs.edge_cost / parts
    return SpeedChoice(cutting_speed_m_min, life, cut_min, minutes, cost)


def best_speed(
    life: float,
    constants: TaylorConstants,
    costs: CutCosts,
    cut: tuple[float, float, float] | None,
    limits: SpeedLimits,
    handling_min: float = 0.0,
) -> SpeedChoice:
    """The speed that promises a life, or the highest that the spindle reaches below it.

    Args:
        life: Life of the optimum [min].
        constants: The curve at the feed and depth of the cut.
        costs: Change, machine and edge.
        cut: Diameter [mm], length of the path [mm] and feed [mm/rev]; None where the diameter
            is not known.
        limits: Greatest spindle speeds by name.
        handling_min: Minutes to load and unload.

    Raises:
        OutsideModel: A limit that cannot be, or one without a diameter to turn it into a speed.
    """
    speed = float(speed_for_life_m_min(life, constants))
    limit, whose = lowest_limit(limits)
    if cut is None:
        if whose is not None:
            raise OutsideModel(
                sentence(
                    "A greatest spindle speed only limits the cutting speed on a "
                    "diameter; give diameter_mm."
                ),
                errors=[{"field": "diameter_mm", "detail": sentence("is missing")}],
            )
        return at_speed(speed, constants, costs, None, handling_min)
    rpm = spindle_rpm(speed, cut[0])
    if rpm > limit:
        rpm, speed = limit, surface_speed_m_min(limit, cut[0])
    else:
        whose = None
    found = at_speed(speed, constants, costs, cut_minutes(speed, *cut), handling_min)
    return replace(found, spindle_rpm=rpm, limited_by=whose)


def _rate(costs: CutCosts) -> float:
    if not costs.machine_rate_per_min > 0:
        raise OutsideModel(sentence("machine_rate_per_min has to be above 0."))
    return costs.machine_rate_per_min


def _life(n: float, weight_min: float) -> float:
    if not 0 < n < 1:
        raise OutsideModel(
            sentence(
                "n is {n}; a slower cut pays by a longer life only where n is between 0 and 1.",
                n=repr(n),
            ),
            errors=[{"field": "n", "detail": sentence("between 0 and 1")}],
        )
    if not (math.isfinite(weight_min) and weight_min > 0):
        raise OutsideModel(
            sentence(
                "change_min has to be above 0: where a change of edge takes no time, no "
                "speed is too fast."
            ),
            errors=[{"field": "change_min", "detail": sentence("above 0")}],
        )
    return (1 / n - 1) * weight_min
