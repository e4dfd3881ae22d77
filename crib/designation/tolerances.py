"""How far an insert may be off: limits on d, m and s by tolerance class (ISO 1832, 5.3).

d is the inscribed circle, m the distance from the far side to the corner, s the thickness.
Values of the classes and of class M were seen in charts that cite ISO 1832:2012; class U by
inscribed circle, and V at 12.7 mm, are from memory.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Range(NamedTuple):
    """Least and greatest plus-minus value [mm]; equal where the table is exact."""

    least_mm: float
    greatest_mm: float


class Limits(NamedTuple):
    """Plus-minus values on d, m, s; ``m`` is None for a round insert, which has none."""

    d: Range
    m: Range | None
    s: Range


def _class(d: tuple[float, ...], m: tuple[float, ...], s: float) -> Limits:
    return Limits(Range(d[0], d[-1]), Range(m[0], m[-1]), Range(s, s))


#: Table 3.
CLASSES: Final[dict[str, Limits]] = {
    "A": _class((0.025,), (0.005,), 0.025),
    "C": _class((0.025,), (0.013,), 0.025),
    "E": _class((0.025,), (0.025,), 0.025),
    "F": _class((0.013,), (0.005,), 0.025),
    "G": _class((0.025,), (0.025,), 0.13),
    "H": _class((0.013,), (0.013,), 0.025),
    "J": _class((0.05, 0.15), (0.005,), 0.025),
    "K": _class((0.05, 0.15), (0.013,), 0.025),
    "L": _class((0.05, 0.15), (0.025,), 0.025),
    "M": _class((0.05, 0.15), (0.08, 0.20), 0.13),
    "N": _class((0.05, 0.15), (0.08, 0.20), 0.025),
    "U": _class((0.08, 0.25), (0.13, 0.38), 0.13),
}


class ByCircle(NamedTuple):
    """A row of table 4: circles up to this one [mm] and their plus-minus values [mm]."""

    up_to_mm: float
    d: float
    m: float
    d_class_u: float
    m_class_u: float


#: Table 4: included angles of 60 degrees and more, and round; d of J, K, L, M, N and m of M, N.
BY_CIRCLE: Final = (
    ByCircle(10.0, 0.05, 0.08, 0.08, 0.13),
    ByCircle(12.7, 0.08, 0.13, 0.13, 0.20),
    ByCircle(20.0, 0.10, 0.15, 0.18, 0.27),
    ByCircle(25.4, 0.13, 0.18, 0.25, 0.38),
    ByCircle(32.0, 0.15, 0.20, 0.25, 0.38),
)
#: Table 4, sharper rhombuses: m of classes M and N, by circles up to.
SHARPER_M: Final[dict[str, dict[float, float]]] = {
    "D": {10.0: 0.11, 12.7: 0.15, 20.0: 0.18},
    "V": {10.0: 0.16, 12.7: 0.20},
}
#: Shapes that table 4 speaks of in full.
_OBTUSE = frozenset("CEHMOPRSTW")


def limits(tolerance: str, shape: str, circle_mm: float | None) -> Limits:
    """Plus-minus values of a class, exact where the inscribed circle decides them.

    A range stays where table 4 has no row: circles that the designation does not tell,
    parallelograms and rectangles, class U below 60 degrees.
    """
    d, m, s = CLASSES[tolerance]
    row = _row(circle_mm)
    if row is not None and d.least_mm != d.greatest_mm:
        if shape in _OBTUSE:
            exact = (row.d_class_u, row.m_class_u) if tolerance == "U" else (row.d, row.m)
            d = Range(exact[0], exact[0])
            m = Range(exact[1], exact[1]) if m and m.least_mm != m.greatest_mm else m
        elif shape in SHARPER_M and tolerance != "U":
            at_corner = SHARPER_M[shape].get(row.up_to_mm)
            if at_corner is not None:
                d = Range(row.d, row.d)
                m = Range(at_corner, at_corner) if m and m.least_mm != m.greatest_mm else m
    return Limits(d, None if shape == "R" else m, s)


def _row(circle_mm: float | None) -> ByCircle | None:
    if circle_mm is None:
        return None
    return next((row for row in BY_CIRCLE if circle_mm <= row.up_to_mm), None)
