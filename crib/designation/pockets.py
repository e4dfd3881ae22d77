"""Why an insert does not sit in a holder's pocket, as far as the letters tell."""

from __future__ import annotations

from crib.designation import holder_tables, tables
from crib.designation.holder import BoringBar, TurningHolder
from crib.designation.insert import Insert
from crib.sentence import figure, sentence, together


def pocket_misfits(holder: TurningHolder | BoringBar, insert: Insert) -> tuple[str, ...]:
    """Every reason, each a clause about the insert; empty where it fits.

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
    return sentence(
        "it is {named}, the pocket takes {named2}",
        named=_named(insert.shape),
        named2=_named(holder.pocket.shape),
    )


def _named(shape: str) -> str:
    words, angle_deg, _ = tables.SHAPES[shape]
    angle = f"{angle_deg:g}° " if angle_deg else ""
    return together(" ", (words, f"{angle}({shape})"))


def _clearance(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    has, takes = insert.clearance, holder.pocket.clearance
    if has == takes:
        return ""
    return sentence(
        "its clearance is {degrees}, the pocket takes {degrees2}",
        degrees=_degrees(has),
        degrees2=_degrees(takes),
    )


def _degrees(letter: str) -> str:
    angle_deg = tables.CLEARANCE_DEG[letter]
    return (
        sentence("special ({letter})", letter=letter)
        if angle_deg is None
        else together("", (figure(angle_deg, "g"), f"° ({letter})"))
    )


def _size(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    has, takes = insert.metric_size, holder.pocket.size
    # Numbers of another shape count something else.
    if insert.shape != holder.pocket.shape or has is None or has == takes:
        return ""
    return sentence("its size is {has}, the pocket takes {takes}", has=has, takes=takes)


def _hand(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    has, takes = insert.hand, holder.pocket.hand
    if isinstance(holder, BoringBar) or {has, takes} != {"R", "L"}:
        return ""
    if holder.pocket.style not in holder_tables.SAME_HAND_STYLES:
        return ""
    return sentence(
        "it cuts {hand}-handed, the holder {hand2}-handed",
        hand=tables.HAND[has],
        hand2=holder_tables.HAND[takes],
    )


def _hole(holder: TurningHolder | BoringBar, insert: Insert) -> str:
    hole, clamping = tables.TYPES[insert.type].hole, holder.pocket.clamping
    how = sentence("the holder clamps {clamping}", clamping=holder_tables.CLAMPING[clamping])
    if hole == "none" and clamping in holder_tables.NEEDS_HOLE:
        return sentence("it has no hole, and {how}", how=how)
    if hole in ("none", "plain") and clamping in holder_tables.NEEDS_COUNTERSINK:
        return (
            sentence("it has no hole, and {how}", how=how)
            if hole == "none"
            else sentence("it has no countersunk hole, and {how}", how=how)
        )
    return ""
