"""Places in racks: which names mean one place, and the order in which people look for them."""

from __future__ import annotations

import re


def place_order(place: str | None) -> tuple[tuple[bool, int, str], ...]:
    """What to sort places by, so that place 2 comes before place 10; none at all come last.

    Args:
        place: Name of the place, as the shop calls it.
    """
    if not place:
        return ((True, 0, "\N{REPLACEMENT CHARACTER}"),)
    pieces = re.findall(r"[0-9]+|[^0-9]+", place_name(place))
    return tuple(
        (False, int(piece), "") if piece[0] in "0123456789" else (True, 0, piece)
        for piece in pieces
    )


def place_name(place: str) -> str:
    """The name that a place is known by, however somebody wrote it."""
    return " ".join(place.casefold().split())
