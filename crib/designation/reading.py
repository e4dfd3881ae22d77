"""Designations of inserts (ISO 1832, metric) and turning holders (ISO 5608): read, print."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from crib.designation import tables
from crib.errors import BadDesignation


@dataclass(frozen=True, slots=True)
class Insert:
    """An insert's letters; lengths [mm] and angles [deg] come from the tables."""

    shape: str
    clearance: str
    tolerance: str
    type: str
    size: str
    thickness: str
    radius: str
    rest: str = ""

    def __str__(self) -> str:
        """The text it was read from."""
        return (
            f"{self.shape}{self.clearance}{self.tolerance}{self.type}"
            f"{self.size}{self.thickness}{self.radius}{self.rest}"
        )

    @property
    def circle_mm(self) -> float:
        """Inscribed circle."""
        return tables.CIRCLE_MM[self.shape][self.size]

    @property
    def edges(self) -> int | None:
        """Corners times faces that cut; None for a round insert: the shop decides."""
        both = self.clearance == "N" and tables.BOTH_FACES[self.type]
        corners = tables.CORNERS.get(self.shape)
        return corners if corners is None else corners * (2 if both else 1)

    def limits_mm(self) -> tuple[tables.Range, tables.Range, tables.Range]:
        """Limits on d, m, s: exact where low equals high, else the range of the class."""
        d, m, s = tables.TOLERANCE[self.tolerance]
        row = tables.CLASS_M.get(self.circle_mm)
        if row is not None and self.tolerance in "JKLMN":
            d = (row[0], row[0])
            exact = {"D": row[2], "V": row[3]}.get(self.shape, row[1])
            if self.tolerance in "MN" and exact is not None:
                m = (exact, exact)
        return d, m, s


@dataclass(frozen=True, slots=True)
class TurningHolder:
    """A square-shank turning holder's letters."""

    clamping: str
    shape: str
    style: str
    clearance: str
    hand: str
    height: str
    width: str
    length: str
    size: str

    def __str__(self) -> str:
        """The text it was read from."""
        return (
            f"{self.clamping}{self.shape}{self.style}{self.clearance}{self.hand}"
            f"{self.height}{self.width}{self.length}{self.size}"
        )


def edge_length_mm(shape: str, circle_mm: float) -> float:
    """Edge of a sharp insert from its inscribed circle (plane geometry).

    A round insert has its diameter; a trigon d/2 (cot 40 + cot 80).
    """
    angle = tables.SHAPE_DEG[shape]
    if angle is None:
        return circle_mm
    if shape == "T":
        return circle_mm * math.sqrt(3)
    if shape == "W":
        tan = (math.tan(math.radians(40)), math.tan(math.radians(80)))
        return circle_mm / 2 * (1 / tan[0] + 1 / tan[1])
    return circle_mm / math.sin(math.radians(angle))


def _take(text: str, start: int, width: int, allowed: Iterable[str], what: str) -> str:
    found, words = text[start : start + width], sorted(allowed)
    if found in words:
        return found
    near = (get_close_matches(found, words, n=1, cutoff=0.0) or words)[:1][0]
    nearest = text[:start] + near + text[start + width :]
    shown = repr(found) if found else "nothing"
    raise BadDesignation(
        f"Character {start + 1} should be the {what}, one of {', '.join(words)}; "
        f"{shown} stands there. Perhaps {nearest[:60]}?",
        facts={"position": start + 1, "expected": words, "nearest": nearest[:60]},
    )


def read_insert(text: str) -> Insert:
    """Read a metric insert designation such as CCMT09T304.

    Raises:
        BadDesignation: A position that is in no table.
    """
    shape = _take(text, 0, 1, tables.SHAPE_DEG, "shape")
    insert = Insert(
        shape,
        _take(text, 1, 1, tables.CLEARANCE_DEG, "clearance"),
        _take(text, 2, 1, tables.TOLERANCE, "tolerance class"),
        _take(text, 3, 1, tables.BOTH_FACES, "type"),
        _take(text, 4, 2, tables.CIRCLE_MM[shape], f"size of shape {shape}"),
        _take(text, 6, 2, tables.THICKNESS_MM, "thickness"),
        _take(text, 8, 2, tables.RADIUS_MM, "corner radius"),
        text[10:],
    )
    at = 10
    for allowed in ("EFKPST", "LNR"):  # edge condition, feed direction: both optional
        if text[at : at + 1] and text[at] in allowed:
            at += 1
    if text[at:] and (text[at] != "-" or not text[at + 1 :].isalnum()):
        _take(text, at, len(text) - at, [""], "end, or '-' and the maker's letters")
    return insert


def read_holder(text: str) -> TurningHolder:
    """Read a turning holder designation such as SCLCR1212F09.

    Raises:
        BadDesignation: A position that is in no table.
    """
    numbers = [f"{side:02d}" for side in (8, 10, 12, 16, 20, 25, 32, 40, 50)]
    clamping = _take(text, 0, 1, tables.CLAMPING, "clamping")
    shape = _take(text, 1, 1, tables.SHAPE_DEG, "insert shape")
    holder = TurningHolder(
        clamping,
        shape,
        _take(text, 2, 1, tables.STYLE_DEG, "style"),
        _take(text, 3, 1, tables.CLEARANCE_DEG, "insert clearance"),
        _take(text, 4, 1, tables.HAND, "hand"),
        _take(text, 5, 2, numbers, "shank height"),
        _take(text, 7, 2, numbers, "shank width"),
        _take(text, 9, 1, tables.LENGTH_MM, "length letter"),
        _take(text, 10, 2, tables.CIRCLE_MM[shape], f"insert size of shape {shape}"),
    )
    if len(text) > 12:
        _take(text, 12, len(text) - 12, [""], "end")
    return holder


def misfits(holder: TurningHolder, insert: Insert) -> list[str]:
    """Why an insert does not sit in a holder's pocket; empty when it does."""
    pairs = (
        ("shape", holder.shape, insert.shape),
        ("clearance", holder.clearance, insert.clearance),
        ("size", holder.size, insert.size),
    )
    return [
        f"The pocket takes {what} {takes}, the insert has {has}."
        for what, takes, has in pairs
        if takes != has
    ]
