"""What one part takes from the edge in one station: minutes in cut and wear units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crib.cutting.engagement import Engagement, engage
from crib.cutting.operations import CutOperation, SpeedLimits
from crib.errors import OutsideModel
from crib.life.starter import starter_constants
from crib.life.taylor import TaylorConstants
from crib.life.wear import wear_per_part, wear_per_part_from_plain_guess

#: Spread of ln(life) around what each basis promises (MODEL: about 40 % for the shop's own
#: constants; a plain guess and the starter table are wider; common practice, no source).
SPREAD = {"tool_life": 0.4, "life_parts": 0.45, "starter": 0.8}


@dataclass(frozen=True, slots=True)
class PartWear:
    """What one part of a run takes from an edge.

    Attributes:
        wear: Wear units per part; 1 is the life that ``basis`` promises.
        engaged_min: Minutes in cut per part; None when no operation gives a time.
        basis: ``tool_life`` (the shop's constants), ``life_parts`` (its plain guess) or
            ``starter`` (our table of handbook constants).
        source: Where the constants come from, for a reader.
        operation_class: Kind of the operation that wears most, for pooling with its like.
        spindle_rpm: Fastest real spindle speed, None if unknown.
        limited_by: Whose limit holds the spindle there, if any.
    """

    wear: float
    engaged_min: float | None
    basis: str
    source: str
    operation_class: str
    spindle_rpm: float | None
    limited_by: str | None

    @property
    def spread(self) -> float:
        """Prior standard deviation of ln(life)."""
        return SPREAD[self.basis]


def part_wear(
    operations: Sequence[CutOperation],
    limits: SpeedLimits,
    *,
    constants: TaylorConstants | None,
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
        constants: The shop's speed-life constants for this item and material, if any.
        constants_source: Where they come from.
        life_parts: The shop's plain guess of parts per edge.
        tool_material: Tool material of the item, for the starter table.
        material_group: ISO 513 group of the part's material.
    """
    if not operations:
        return None
    cuts = _cuts(operations, limits, constants.n if constants else 0.25)
    if constants and cuts:
        wear = _wear(cuts, constants)
        if wear:
            return _made(
                operations, cuts, wear, "tool_life", constants_source or "tool_life.csv"
            )
    if life_parts:
        wear = wear_per_part_from_plain_guess(life_parts)
        return _made(
            operations, cuts, wear, "life_parts", f"about {life_parts:g} parts per edge"
        )
    if cuts and tool_material and material_group:
        row = starter_constants(tool_material, material_group)
        wear = _wear(cuts, row.constants)
        if wear:
            return _made(operations, cuts, wear, "starter", row.source)
    return None


def _cuts(
    operations: Sequence[CutOperation], limits: SpeedLimits, n: float
) -> list[Engagement] | None:
    try:
        return [engage(operation, limits, n) for operation in operations]
    except OutsideModel:
        return None  # columns missing: there may still be a plain guess to go by


def _wear(cuts: Sequence[Engagement], constants: TaylorConstants) -> float | None:
    try:
        return wear_per_part(cuts, constants)
    except OutsideModel:
        return None  # only measured minutes, no speed


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
