"""Letters of an insert's designation: shape, clearance, type, corner, cutting edge (ISO 1832).

Clause and table numbers are those of ISO 1832:2012 and quoted from memory, and so are the
letters; clearances were also seen in charts that cite the standard. Sizes stand in
``sizes``, limits in ``tolerances``.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from crib.sentence import sentence


class Shape(NamedTuple):
    """One shape: words, included angle [deg], corners that cut on one face.

    The angle is None for a round insert. Corners are None where letters do not tell them:
    a round insert is turned by as much as was worn, and the corners of a rectangle that cut
    depend on its hand.
    """

    words: str
    angle_deg: float | None
    corners: int | None


#: Clause 5.1, table 1. The angle of a rhombus or parallelogram is its smaller one, and those
#: corners are the ones that its holders present.
SHAPES: Final[dict[str, Shape]] = {
    "A": Shape(sentence("parallelogram"), 85.0, 2),
    "B": Shape(sentence("parallelogram"), 82.0, 2),
    "C": Shape(sentence("rhombic"), 80.0, 2),
    "D": Shape(sentence("rhombic"), 55.0, 2),
    "E": Shape(sentence("rhombic"), 75.0, 2),
    "H": Shape(sentence("hexagonal"), 120.0, 6),
    "K": Shape(sentence("parallelogram"), 55.0, 2),
    "L": Shape(sentence("rectangular"), 90.0, None),
    "M": Shape(sentence("rhombic"), 86.0, 2),
    "O": Shape(sentence("octagonal"), 135.0, 8),
    "P": Shape(sentence("pentagonal"), 108.0, 5),
    "R": Shape(sentence("round"), None, None),
    "S": Shape(sentence("square"), 90.0, 4),
    "T": Shape(sentence("triangular"), 60.0, 3),
    "V": Shape(sentence("rhombic"), 35.0, 2),
    "W": Shape(sentence("trigon"), 80.0, 3),
}

#: Corners of a rectangle (L) that are alike: two under a half turn, all four if mirrored too.
RECTANGLE_CORNERS: Final = {"R": 2, "L": 2, "N": 4}

#: Clause 5.2, table 2: normal clearance [deg]; O is any other, given by the maker.
CLEARANCE_DEG: Final[dict[str, float | None]] = {
    "A": 3.0,
    "B": 5.0,
    "C": 7.0,
    "D": 15.0,
    "E": 20.0,
    "F": 25.0,
    "G": 30.0,
    "N": 0.0,
    "O": None,
    "P": 11.0,
}


class Type(NamedTuple):
    """One type: what holds the insert, and which faces carry chip breakers.

    Attributes:
        hole: ``none``, ``plain`` (a cylinder) or ``countersunk``; None where special.
        sides: Faces with the countersink.
        breakers: Faces with chip breakers.
        words: The plain phrase.
    """

    hole: str | None
    sides: int
    breakers: int
    words: str

    @property
    def faces(self) -> int | None:
        """Faces that can cut as far as the type goes; None where it is special.

        A face cuts if it is like the other one: breakers on both or on neither, and a screw
        that can be put in from either side. A face without the breaker or the countersink
        of the other is only there to be sat on.
        """
        if self.hole is None:
            return None
        return 1 if self.breakers == 1 or self.sides == 1 else 2


#: Clause 5.4, table 5.
TYPES: Final[dict[str, Type]] = {
    "A": Type("plain", 0, 0, sentence("cylindrical hole, no chip breaker")),
    "B": Type(
        "countersunk", 1, 0, sentence("hole countersunk 70 to 90° on one face, no chip breaker")
    ),
    "C": Type(
        "countersunk",
        2,
        0,
        sentence("hole countersunk 70 to 90° on both faces, no chip breaker"),
    ),
    "F": Type("none", 0, 2, sentence("no hole, chip breakers on both faces")),
    "G": Type("plain", 0, 2, sentence("cylindrical hole, chip breakers on both faces")),
    "H": Type(
        "countersunk",
        1,
        1,
        sentence("hole countersunk 70 to 90° on one face, chip breaker on one face"),
    ),
    "J": Type(
        "countersunk", 2, 2, sentence("hole countersunk 70 to 90°, chip breakers on both faces")
    ),
    "M": Type("plain", 0, 1, sentence("cylindrical hole, chip breaker on one face")),
    "N": Type("none", 0, 0, sentence("no hole, no chip breaker")),
    "Q": Type(
        "countersunk",
        2,
        0,
        sentence("hole countersunk 40 to 60° on both faces, no chip breaker"),
    ),
    "R": Type("none", 0, 1, sentence("no hole, chip breaker on one face")),
    "T": Type(
        "countersunk",
        1,
        1,
        sentence("hole countersunk 40 to 60° on one face, chip breaker on one face"),
    ),
    "U": Type(
        "countersunk", 2, 2, sentence("hole countersunk 40 to 60°, chip breakers on both faces")
    ),
    "W": Type(
        "countersunk", 1, 0, sentence("hole countersunk 40 to 60° on one face, no chip breaker")
    ),
    "X": Type(None, 0, 0, sentence("special: see the maker's drawing")),
}

#: Clause 5.7: an insert with a wiper edge has two letters instead of a corner radius: the
#: cutting edge angle [deg], then the wiper's clearance [deg]. None: another, by the maker.
WIPER_EDGE_DEG: Final[dict[str, float | None]] = {
    "A": 45.0,
    "D": 60.0,
    "E": 75.0,
    "F": 85.0,
    "P": 90.0,
    "Z": None,
}
WIPER_CLEARANCE_DEG: Final[dict[str, float | None]] = {
    **{letter: angle for letter, angle in CLEARANCE_DEG.items() if angle is not None},
    "Z": None,
}

#: Clause 6.1, table 7.
EDGE_CONDITION: Final = {
    "E": sentence("rounded"),
    "F": sentence("sharp"),
    "K": sentence("double chamfered"),
    "P": sentence("double chamfered and rounded"),
    "S": sentence("chamfered and rounded"),
    "T": sentence("chamfered"),
}

#: Clause 6.2, table 8: direction of cutting.
HAND: Final = {"L": sentence("left"), "N": sentence("right and left"), "R": sentence("right")}
