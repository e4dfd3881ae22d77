"""Why an insert does not sit in a holder's pocket, as far as the letters tell."""

from __future__ import annotations

from crib.designation import holder_tables, tables
from crib.designation.holder import BoringBar, TurningHolder
from crib.designation.insert import Insert


def pocket_misfits(holder: TurningHolder | BoringBar, insert: Insert) -> tuple[str, ...]:
    """Every reason, each a clause about the insert; empty where nothing speaks against it.

    Shape, clearance and size must be those of the pocket; a handed insert goes into a
    side-cutting holder of its own hand; what holds the insert must find its hole. Where a
    letter leaves something open (a size without a metric number, a special type or clamping,
    end-cutting styles and bars, whose hand is built either way), nothing is said.
    """
    found = (
        _shape(holder, insert),
        _clearance(holder, insert),
        _size(holder, insert),
        _hand(holder, insert),
        _hole(holder, insert),
    )
    return tuple(reason for reason in found if reason)


def _shape(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    if insert.shape == holder.pocket.shape:
        return ""
    return f"it is {_named(insert.shape)}, the pocket takes {_named(holder.pocket.shape)}"


def _named(shape: str) -> str:
    words, angle_deg, _ = tables.SHAPES[shape]
    return f"{words}{f' {angle_deg:g}°' if angle_deg else ''} ({shape})"


def _clearance(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    has, takes = insert.clearance, holder.pocket.clearance
    if has == takes:
        return ""
    return f"its clearance is {_degrees(has)}, the pocket takes {_degrees(takes)}"


def _degrees(letter: str) -> str:
    angle_deg = tables.CLEARANCE_DEG[letter]
    return f"special ({letter})" if angle_deg is None else f"{angle_deg:g}° ({letter})"


def _size(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    has, takes = insert.metric_size, holder.pocket.size
    # Numbers of another shape count something else.
    if insert.shape != holder.pocket.shape or has is None or has == takes:
        return ""
    return f"its size is {has}, the pocket takes {takes}"


def _hand(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    has, takes = insert.hand, holder.pocket.hand
    if isinstance(holder, BoringBar) or {has, takes} != {"R", "L"}:
        return ""
    if holder.pocket.style not in holder_tables.SAME_HAND_STYLES:
        return ""
    return f"it cuts {tables.HAND[has]}-handed, the holder {holder_tables.HAND[takes]}-handed"


def _hole(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    hole, clamping = tables.TYPES[insert.type].hole, holder.pocket.clamping
    how = f"the holder clamps {holder_tables.CLAMPING[clamping]}"
    if hole == "none" and clamping in holder_tables.NEEDS_HOLE:
        return f"it has no hole, and {how}"
    if hole in ("none", "plain") and clamping in holder_tables.NEEDS_COUNTERSINK:
        return f"it has {'no' if hole == 'none' else 'no countersunk'} hole, and {how}"
    return ""
