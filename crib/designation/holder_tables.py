"""Letters of turning holders (ISO 5608) and boring bars (ISO 6261), from memory."""

from __future__ import annotations

from typing import Final

from crib.sentence import sentence

#: Position 1 of a square-shank holder, 4 of a bar. D and X come on top of the standard's four.
CLAMPING: Final = {
    "C": sentence("from the top, on an insert without a hole"),
    "D": sentence("from the top and in the hole, drawn back into the pocket"),
    "M": sentence("from the top and by a pin in the hole"),
    "P": sentence("by a lever or pin in the hole"),
    "S": sentence("by a screw through the countersunk hole"),
    "X": sentence("special: see the maker's drawing"),
}
#: What a clamping asks of the insert's hole; the others ask nothing that a letter tells.
NEEDS_HOLE: Final = frozenset("DMP")
NEEDS_COUNTERSINK: Final = frozenset("S")

#: Edge angle [deg] of a square-shank holder's style. None: special.
STYLE_DEG: Final[dict[str, float | None]] = {
    "A": 90.0,
    "B": 75.0,
    "C": 90.0,
    "D": 45.0,
    "E": 60.0,
    "F": 90.0,
    "G": 90.0,
    "H": 107.5,
    "J": 93.0,
    "K": 75.0,
    "L": 95.0,
    "M": 50.0,
    "N": 63.0,
    "P": 117.5,
    "R": 75.0,
    "S": 45.0,
    "T": 60.0,
    "U": 93.0,
    "V": 72.5,
    "W": 60.0,
    "X": None,
    "Y": 85.0,
}
#: How the cutting edge lies to the shank, by style.
STYLE_WORDS: Final = {
    "A": sentence("straight shank, side cutting"),
    "B": sentence("straight shank, side cutting"),
    "C": sentence("straight shank, end cutting"),
    "D": sentence("straight shank, cutting to both sides"),
    "E": sentence("straight shank, cutting to both sides"),
    "F": sentence("offset, end cutting"),
    "G": sentence("offset, side cutting"),
    "H": sentence("offset, side cutting"),
    "J": sentence("offset, side cutting"),
    "K": sentence("offset, end cutting"),
    "L": sentence("offset, side and end cutting"),
    "M": sentence("straight shank, cutting to both sides"),
    "N": sentence("straight shank, side cutting"),
    "P": sentence("straight shank, side cutting"),
    "Q": sentence("offset, end cutting"),
    "R": sentence("offset, side cutting"),
    "S": sentence("offset, side cutting"),
    "T": sentence("offset, side cutting"),
    "U": sentence("offset, end cutting"),
    "V": sentence("straight shank, cutting to both sides"),
    "W": sentence("offset, end cutting"),
    "X": sentence("special: see the maker's drawing"),
    "Y": sentence("offset, end cutting"),
}
#: Styles whose edge lies along the side of the shank: a handed insert goes into the holder of
#: the same hand. Ends and bars turn the corner the other way or are built either way (common
#: practice, no source).
SAME_HAND_STYLES: Final = frozenset("ABGJRT")

#: Edge angle [deg] of a boring bar's style (ISO 6261, position 6).
BAR_STYLE_DEG: Final[dict[str, float | None]] = {
    "F": 90.0,
    "J": 93.0,
    "K": 75.0,
    "L": 95.0,
    "P": 117.5,
    "Q": 107.5,
    "S": 45.0,
    "U": 93.0,
    "W": 60.0,
    "X": None,
    "Y": 85.0,
}

HAND: Final = {"L": sentence("left"), "N": sentence("right and left"), "R": sentence("right")}
BAR_HAND: Final = {"L": sentence("left"), "R": sentence("right")}

#: Heights and widths of square shanks [mm] (ISO 241, ISO 5610).
SHANK_MM: Final = {
    f"{side:02d}": float(side) for side in (4, 5, 6, 7, 8, 10, 12, 16, 20, 25, 32, 40, 50, 63)
}
#: Shank diameters of boring bars [mm] (ISO 5609).
BAR_DIAMETER_MM: Final = {
    f"{side:02d}": float(side)
    for side in (4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 25, 32, 40, 50, 60)
}
#: Overall length [mm] (ISO 5608, position 8; ISO 6261, position 3). X: special.
LENGTH_MM: Final[dict[str, float | None]] = {
    "A": 32.0,
    "B": 40.0,
    "C": 50.0,
    "D": 60.0,
    "E": 70.0,
    "F": 80.0,
    "G": 90.0,
    "H": 100.0,
    "J": 110.0,
    "K": 125.0,
    "L": 140.0,
    "M": 150.0,
    "N": 160.0,
    "P": 170.0,
    "Q": 180.0,
    "R": 200.0,
    "S": 250.0,
    "T": 300.0,
    "U": 350.0,
    "V": 400.0,
    "W": 450.0,
    "Y": 500.0,
    "X": None,
}
#: ISO 5608, position 8: a dash where the length is that of ISO 5610 for the shank.
STANDARD_LENGTH: Final = "-"

#: ISO 5608, position 10: faces whose distance to the corner is held to 0.08 mm.
CLOSE_TOLERANCE: Final = {
    "B": sentence("back, front and end face close to the corner's place"),
    "F": sentence("front and end face close to the corner's place"),
    "Q": sentence("back and end face close to the corner's place"),
}

#: ISO 6261, position 1.
BAR_KIND: Final = {
    "A": sentence("steel, with a coolant bore"),
    "B": sentence("steel, damped"),
    "C": sentence("carbide shank, steel head"),
    "D": sentence("steel, damped, with a coolant bore"),
    "E": sentence("carbide shank, steel head, with a coolant bore"),
    "F": sentence("carbide shank, steel head, damped"),
    "G": sentence("carbide shank, steel head, damped, with a coolant bore"),
    "H": sentence("heavy metal"),
    "J": sentence("heavy metal, with a coolant bore"),
    "S": sentence("steel"),
}
