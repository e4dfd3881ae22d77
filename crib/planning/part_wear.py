"""What one part takes from the edge in one station: minutes in cut and wear units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from crib.cutting.engagement import Engagement, engage
from crib.cutting.operations import CutOperation, SpeedLimits
from crib.errors import OutsideModel
from crib.life.constants_own import CurveDoubt
from crib.life.starter import starter_constants
from crib.life.taylor import TaylorConstants
from crib.life.taylor_range import CurveRange
from crib.life.wear import WornAt, wear_per_part, wear_per_part_from_plain_guess, worn_at
from crib.sentence import figure, sentence

#: Spread of ln(life) around what each basis promises (MODEL: about 40 % for the shop's own
#: constants; a plain guess and the starter table are wider; common practice, no source).
SPREAD = {"tool_life": 0.4, "life_parts": 0.45, "starter": 0.8}


@dataclass(frozen=True, slots=True)
class Curve:
    """A speed-life curve in use for an item on a group of material.

    Attributes:
        constants: The constants.
        source: Where they come from, for a reader.
        basis: ``tool_life`` (the shop's constants), ``starter`` (our table) or ``own_lives``
            (exponents estimated from the shop's own edges).
        spread: Spread of ln(life) around what it promises.
        doubt: What its exponents add to that at other cuts, if they were estimated.
        holds: Cuts that it was seen to hold for; None where nobody said.
    """

    constants: TaylorConstants
    source: str
    basis: str = "tool_life"
    spread: float = SPREAD["tool_life"]
    doubt: CurveDoubt | None = None
    holds: CurveRange | None = None


def starter_curve(tool_material: str, material_group: str) -> Curve:
    """The row of the starter table as a curve.

    Raises:
        OutsideModel: The table has no such row.
    """
    row = starter_constants(tool_material, material_group)
    return Curve(row.constants, row.source, "starter", SPREAD["starter"], holds=row.holds)


@dataclass(frozen=True, slots=True)
class PartWear:
    """What one part of a run takes from an edge.

    Attributes:
        wear: Wear units per part; 1 is the life that ``basis`` promises.
        engaged_min: Minutes in cut per part; None when no operation gives a time.
        basis: ``tool_life`` (the shop's constants), ``own_lives`` (these with exponents from
            the shop's own edges), ``life_parts`` (its plain guess) or ``starter`` (our table
            of handbook constants).
        source: Where the constants come from, for a reader.
        operation_class: Kind of the operation that wears most, for pooling with its like.
        spindle_rpm: Fastest real spindle speed, None if unknown.
        limited_by: Whose limit holds the spindle there, if any.
        worn_at: Cut at which it is worn; None where no curve was used.
        curve_spread: Spread behind the curve that was used, if one was.
        beyond: What of that cut lies outside the range of the curve, a phrase each.
    """

    wear: float
    engaged_min: float | None
    basis: str
    source: str
    operation_class: str
    spindle_rpm: float | None
    limited_by: str | None
    worn_at: WornAt | None = None
    curve_spread: float | None = None
    beyond: tuple[str, ...] = ()

    @property
    def spread(self) -> float:
        """Prior standard deviation of ln(life)."""
        return SPREAD[self.basis] if self.curve_spread is None else self.curve_spread


def part_wear(
    operations: Sequence[CutOperation],
    limits: SpeedLimits,
    *,
    constants: TaylorConstants | Curve | None,
    constants_source: str = "",
    life_parts: float | None = None,
    tool_material: str | None = None,
    material_group: str | None = None,
) -> PartWear | None:
    """Wear of one part on the edge that cuts ``operations``.

    The shop's own constants come first, then its plain guess "about N parts", then the starter
    table; None where none of them says anything, or nothing is cut.

    Args:
        operations: The part's operations in this station.
        limits: Greatest spindle speeds by name (machine, station, holder, tool).
        constants: The shop's speed-life constants for this item and material, if any, or the
            curve made of them.
        constants_source: Where bare constants come from.
        life_parts: The shop's plain guess of parts per edge.
        tool_material: Tool material of the item, for the starter table.
        material_group: ISO 513 group of the part's material.
    """
    if not operations:
        return None
    own = constants
    if isinstance(own, TaylorConstants):
        own = Curve(own, constants_source or "tool_life.csv")
    cuts = _cuts(operations, limits, own.constants.n if own else 0.25)
    if own and cuts and (found := _by_curve(operations, cuts, own)):
        return found
    if life_parts:
        wear = wear_per_part_from_plain_guess(life_parts)
        return _made(
            operations,
            cuts,
            wear,
            "life_parts",
            sentence("about {life_parts} parts per edge", life_parts=figure(life_parts, "g")),
        )
    if tool_material and material_group:
        curve = starter_curve(tool_material, material_group)
        if cuts := _cuts(operations, limits, curve.constants.n):
            return _by_curve(operations, cuts, curve)
    return None


def _cuts(
    operations: Sequence[CutOperation], limits: SpeedLimits, n: float
) -> list[Engagement] | None:
    try:
        return [engage(operation, limits, n) for operation in operations]
    except OutsideModel:
        return None  # columns missing: there may still be a plain guess to go by


def _by_curve(
    operations: Sequence[CutOperation], cuts: Sequence[Engagement], curve: Curve
) -> PartWear | None:
    try:
        wear = wear_per_part(cuts, curve.constants)
        at = worn_at(cuts, curve.constants)
    except OutsideModel:
        return None  # only measured minutes, no speed
    spread = curve.spread
    if curve.doubt:
        spread = math.hypot(spread, curve.doubt.spread_at(at[:3]))
    beyond = curve.holds.outside(*map(math.exp, at[:3])) if curve.holds else ()
    return replace(
        _made(operations, cuts, wear, curve.basis, curve.source),
        worn_at=at,
        curve_spread=spread,
        beyond=beyond,
    )


def _made(
    operations: Sequence[CutOperation],
    cuts: Sequence[Engagement] | None,
    wear: float,
    basis: str,
    source: str,
) -> PartWear:
    if cuts is None:
        return PartWear(wear, None, basis, source, operations[0].kind, None, None)
    longest = max(range(len(cuts)), key=lambda i: cuts[i].equivalent_min)
    rpms = [cut.spindle_rpm for cut in cuts if cut.spindle_rpm is not None]
    limited = next((cut.limited_by for cut in cuts if cut.limited_by), None)
    return PartWear(
        wear,
        sum(cut.engaged_min for cut in cuts),
        basis,
        source,
        operations[longest].kind,
        max(rpms, default=None),
        limited,
    )
