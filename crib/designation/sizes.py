"""Size, thickness and corner numbers of inserts, metric and in inches, and their geometry.

Metric: ISO 1832, clauses 5.5 to 5.7. Inscribed circles and thicknesses were seen in charts
that cite ISO 1832:2012; which number goes with which shape is from memory, and checked
against the geometry. Inches: the number of eighths in the inscribed circle, sixteenths in
the thickness, sixty-fourths in the radius, as in ANSI B212.4 (from memory).
"""

from __future__ import annotations

import math
from typing import Final

from crib.designation.tables import SHAPES
from crib.sentence import sentence

#: Inscribed circle [mm] by shape and size number (clause 5.5). None: two circles of the
#: series share the number. A number is the edge in whole millimetres, but for NOT_CUT_OFF.
CIRCLE_MM: Final[dict[str, dict[str, float | None]]] = {
    "C": {
        "03": 3.97, "04": 4.76, "05": 5.56, "06": 6.35, "08": 7.94, "09": 9.525, "12": 12.7,
        "16": 15.875, "19": 19.05, "25": 25.4, "32": 31.75,
    },
    "D": {
        "04": 3.97, "05": 4.76, "06": 5.56, "07": 6.35, "09": 7.94, "11": 9.525, "15": 12.7,
        "19": 15.875, "23": 19.05, "31": 25.4, "38": 31.75,
    },
    "E": {
        "04": None, "05": 5.56, "06": 6.35, "08": 7.94, "09": 9.525, "13": 12.7, "16": 15.875,
        "19": 19.05, "26": 25.4, "32": 31.75,
    },
    "H": {
        "03": None, "04": 7.94, "05": 9.525, "07": 12.7, "09": 15.875, "11": 19.05, "14": 25.4,
        "18": 31.75,
    },
    "M": {
        "03": 3.97, "04": 4.76, "05": 5.56, "06": 6.35, "07": 7.94, "09": 9.525, "12": 12.7,
        "15": 15.875, "19": 19.05, "25": 25.4, "31": 31.75,
    },
    "O": {
        "02": None, "03": 7.94, "04": 9.525, "05": 12.7, "06": 15.875, "07": 19.05, "10": 25.4,
        "13": 31.75,
    },
    "P": {
        "04": None, "05": 7.94, "07": 9.525, "09": 12.7, "11": 15.875, "13": 19.05, "18": 25.4,
        "23": 31.75,
    },
    "S": {
        "03": 3.97, "04": 4.76, "05": 5.56, "06": 6.35, "07": 7.94, "09": 9.525, "12": 12.7,
        "15": 15.875, "19": 19.05, "25": 25.4, "31": 31.75,
    },
    "T": {
        "06": 3.97, "08": 4.76, "09": 5.56, "11": 6.35, "13": 7.94, "16": 9.525, "22": 12.7,
        "27": 15.875, "33": 19.05, "44": 25.4, "54": 31.75,
    },
    "V": {
        "06": 3.97, "08": 4.76, "09": 5.56, "11": 6.35, "13": 7.94, "16": 9.525, "22": 12.7,
        "27": 15.875, "33": 19.05, "44": 25.4,
    },
    "W": {
        "02": 3.97, "L3": 4.76, "03": 5.56, "04": 6.35, "05": 7.94, "06": 9.525, "08": 12.7,
        "10": 15.875, "13": 19.05, "17": 25.4,
    },
}  # fmt: skip

#: Numbers that are not the edge in whole millimetres (to within 0.01 mm), and why.
NOT_CUT_OFF: Final[dict[tuple[str, str], str]] = {
    ("C", "03"): sentence(
        "charts that cite the standard give 3.97 mm, an edge of 4.03 mm; some makers' "
        "inserts of this number are smaller: measure"
    ),
    ("O", "04"): sentence(
        "the edge of 3.95 mm is rounded up, away from number 03 (from memory)"
    ),
    ("P", "07"): sentence("the edge of 6.92 mm is rounded up (from memory)"),
    ("W", "L3"): sentence("tells 4.76 mm from 5.56 mm, whose edges are both 3 mm and a bit"),
    ("T", "54"): sentence(
        "the edge of 54.99 mm is cut off, while 11, 22, 33 and 44 are rounded up (from memory)"
    ),
}

#: Round inserts: the diameter is metric with corner M0; with 00 it comes from inches, where
#: the number is one of those (clause 5.7).
ROUND_METRIC_MM: Final[dict[str, float]] = {
    f"{number:02d}": float(number) for number in (3, 4, 5, 6, 7, 8, 10, 12, 15, 16, 20, 25, 32)
}
ROUND_INCH_MM: Final[dict[str, float]] = {
    "03": 3.97,
    "04": 4.76,
    "05": 5.56,
    "06": 6.35,
    "07": 7.94,
    "09": 9.525,
    "12": 12.7,
    "15": 15.875,
    "19": 19.05,
    "25": 25.4,
    "31": 31.75,
}
ROUND_SIZES: Final = sorted({*ROUND_METRIC_MM, *ROUND_INCH_MM})

#: Parallelograms and rectangles: the longer edge in whole millimetres; nothing in the
#: designation ties it to the inscribed circle.
LONG_SHAPES: Final = frozenset("ABKL")
LONG_SIZES: Final = [f"{number:02d}" for number in range(3, 61)]

#: Thickness [mm] (clause 5.6, table 6): whole millimetres; T where the number was taken.
THICKNESS_MM: Final[dict[str, float]] = {
    "01": 1.59,
    "T0": 1.79,
    "T1": 1.98,
    "02": 2.38,
    "T2": 2.78,
    "03": 3.18,
    "T3": 3.97,
    "04": 4.76,
    "T4": 4.96,
    "05": 5.56,
    "T5": 5.95,
    "06": 6.35,
    "T6": 6.75,
    "07": 7.94,
    "09": 9.52,
    "T9": 9.72,
    "11": 11.11,
    "12": 12.7,
}

#: Inch numbers -> mm: eighths of the circle, sixteenths of the thickness.
INCH_CIRCLE_MM: Final[dict[str, float]] = {
    "1.2": 3.97,
    "1.5": 4.76,
    "1.8": 5.56,
    "2": 6.35,
    "2.5": 7.94,
    "3": 9.525,
    "4": 12.7,
    "5": 15.875,
    "6": 19.05,
    "8": 25.4,
    "10": 31.75,
}
INCH_THICKNESS_MM: Final[dict[str, float]] = {
    "1": 1.59,
    "1.2": 1.98,
    "1.5": 2.38,
    "2": 3.18,
    "2.5": 3.97,
    "3": 4.76,
    "3.5": 5.56,
    "4": 6.35,
    "5": 7.94,
    "6": 9.52,
    "7": 11.11,
    "8": 12.7,
}
#: Inch radius number (sixty-fourths) -> metric corner number; the radius is the metric one.
INCH_CORNER: Final[dict[str, str]] = {
    "0": "00",
    "0.2": "01",
    "0.5": "02",
    "1": "04",
    "2": "08",
    "3": "12",
    "4": "16",
    "5": "20",
    "6": "24",
    "7": "28",
    "8": "32",
}

#: Sides of the shapes that are regular polygons.
REGULAR_SIDES = {"T": 3, "S": 4, "P": 5, "H": 6, "O": 8}


def edge_length_mm(shape: str, circle_mm: float) -> float | None:
    """Cutting edge of a sharp-cornered insert from its inscribed circle [mm].

    Plane geometry: a regular polygon of k sides has d tan(180/k), a rhombus d / sin(angle), a
    trigon d/2 (cot 40 + cot 80), a round insert its diameter. None where the circle does not
    tell the edge (parallelograms, rectangles).
    """
    if shape in LONG_SHAPES:
        return None
    if shape in REGULAR_SIDES:
        return circle_mm * math.tan(math.pi / REGULAR_SIDES[shape])
    angle = SHAPES[shape].angle_deg
    if angle is None:
        return circle_mm
    if shape == "W":
        return (
            circle_mm
            / 2
            * (1 / math.tan(math.radians(40.0)) + 1 / math.tan(math.radians(80.0)))
        )
    return circle_mm / math.sin(math.radians(angle))


def sizes_of(shape: str) -> list[str]:
    """Every metric size number that a shape has."""
    if shape == "R":
        return list(ROUND_SIZES)
    if shape in LONG_SHAPES:
        return list(LONG_SIZES)
    return list(CIRCLE_MM[shape])


def circle_mm(shape: str, size: str, corner: str) -> float | None:
    """Inscribed circle of a metric size number [mm]; None where the number does not tell it."""
    if shape in LONG_SHAPES:
        return None
    if shape != "R":
        return CIRCLE_MM[shape][size]
    if corner == "M0":
        return ROUND_METRIC_MM[size]
    return ROUND_INCH_MM.get(size) or ROUND_METRIC_MM[size]


def size_for_circle(shape: str, wanted_mm: float) -> str | None:
    """Metric size number of an inscribed circle; None where the shape has none for it."""
    known = ROUND_INCH_MM if shape == "R" else CIRCLE_MM.get(shape, {})
    return next((size for size, circle in known.items() if circle == wanted_mm), None)
