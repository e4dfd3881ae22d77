"""How unusual a reading is: breaks ties between readings that are equally near.

Common practice, no source. Nothing is refused for being unusual.
"""

from __future__ import annotations

from typing import Final

from crib.designation import sizes, tables
from crib.designation.holder import BoringBar, Pocket, TurningHolder
from crib.designation.insert import Insert

_SHAPES = "CDTSVWR"
_CLEARANCES = "NCPB"
_TOLERANCES = "MGUEH"
_TYPES = "GTMWAN"
_RADII = ("04", "08", "02", "12", "16", "00", "M0", "01", "24")
_STYLES = "LJUKGFNSV"

#: Thicknesses that inserts of an inscribed circle [mm] come in.
_THICKNESS: Final = {
    5.56: ("02",),
    6.35: ("02", "03"),
    9.525: ("T3", "04", "03"),
    12.7: ("04",),
    15.875: ("06",),
    19.05: ("06",),
}
#: Inscribed circles [mm] that pockets are made for, the commonest first.
_CIRCLES: Final = (9.525, 12.7, 6.35, 15.875, 19.05)
#: Length letter of a square shank by its height (ISO 5610, from memory).
_LENGTHS: Final = {
    "08": "D", "10": "E", "12": "F", "16": "H", "20": "K", "25": "M", "32": "P", "40": "S",
}  # fmt: skip


def oddness(reading: object) -> int:
    """How many steps a reading is off what is usual; 0 where nothing is known of its kind."""
    if isinstance(reading, Insert):
        return _of_insert(reading)
    if isinstance(reading, TurningHolder):
        odd_length = _LENGTHS.get(reading.height, "") != reading.length
        odd_shank = reading.height != reading.width
        return _of_pocket(reading.pocket) + 4 * odd_length + 4 * odd_shank
    return _of_pocket(reading.pocket) if isinstance(reading, BoringBar) else 0


def _of_insert(insert: Insert) -> int:
    plain = insert.metric() or insert
    kind = tables.TYPES[insert.type]
    turned = insert.clearance == "N"
    countersunk = kind.hole == "countersunk"
    steps = 8 * (countersunk and turned) + 8 * (kind.hole == "plain" and not turned)
    steps += 8 * (kind.breakers == 2 and not turned)
    thicknesses = _THICKNESS.get(insert.circle_mm or 0.0)
    if thicknesses is not None:
        steps += _place(plain.thickness, thicknesses)
    steps += _place(plain.corner, _RADII)
    for letter, usual in (
        (insert.shape, _SHAPES),
        (insert.clearance, _CLEARANCES),
        (insert.tolerance, _TOLERANCES),
        (insert.type, _TYPES),
    ):
        steps += _place(letter, usual)
    return steps + len(insert.condition) + len(insert.hand)


def _of_pocket(pocket: Pocket) -> int:
    turned = pocket.clearance == "N"
    odd = 8 * (turned if pocket.clamping == "S" else not turned)
    circle = sizes.circle_mm(pocket.shape, pocket.size, "") if pocket.shape != "R" else None
    return (
        odd
        + _place(pocket.shape, _SHAPES)
        + _place(pocket.style, _STYLES)
        + _place(pocket.clearance, _CLEARANCES)
        + (_CIRCLES.index(circle) if circle in _CIRCLES else len(_CIRCLES))
    )


def _place(found: str, usual: str | tuple[str, ...]) -> int:
    return usual.index(found) if found in usual else len(usual)
