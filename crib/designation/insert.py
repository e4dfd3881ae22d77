"""Insert designations, metric (ISO 1832) and in inches (as in ANSI B212.4): parts, print."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

from crib.designation import sizes, tables
from crib.designation.scanning import Scanner, Unreadable
from crib.designation.tolerances import CLASSES, Limits, limits
from crib.sentence import sentence

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Insert:
    """An insert's letters and numbers as written; geometry follows from the tables.

    Attributes:
        shape: Letter of position 1.
        clearance: Position 2.
        tolerance: Position 3.
        type: Position 4.
        size: Position 5: size number, eighths of an inch where ``inch``.
        thickness: Position 6.
        corner: Position 7: a radius number, or two letters of a wiper edge; empty where a
            round insert in inches leaves it out.
        condition: Position 8; empty where not given.
        chamfer: Width [0.01 mm] and angle [deg] of a chamfer, five digits, or empty.
        hand: Position 9; empty where not given.
        maker: The maker's letters after the dash.
        inch: Whether the numbers count fractions of an inch.
    """

    shape: str
    clearance: str
    tolerance: str
    type: str
    size: str
    thickness: str
    corner: str
    condition: str = ""
    chamfer: str = ""
    hand: str = ""
    maker: str = ""
    inch: bool = False

    def __str__(self) -> str:
        """The text that it was read from."""
        return (
            f"{self.shape}{self.clearance}{self.tolerance}{self.type}"
            f"{self.size}{self.thickness}{self.corner}"
            f"{self.condition}{self.chamfer}{self.hand}"
            f"{'-' if self.maker else ''}{self.maker}"
        )

    @property
    def included_angle_deg(self) -> float | None:
        """Included angle of the corner that cuts; None for a round insert."""
        return tables.SHAPES[self.shape].angle_deg

    @property
    def clearance_deg(self) -> float | None:
        """Normal clearance; None for letter O, which the maker tells."""
        return tables.CLEARANCE_DEG[self.clearance]

    @property
    def circle_mm(self) -> float | None:
        """Inscribed circle, or the diameter; None where the number does not tell it."""
        if self.inch:
            return sizes.INCH_CIRCLE_MM[self.size]
        return sizes.circle_mm(self.shape, self.size, self.corner)

    @property
    def edge_length_mm(self) -> float | None:
        """Cutting edge up to the sharp corner; None where the circle is not known."""
        circle = self.circle_mm
        return None if circle is None else sizes.edge_length_mm(self.shape, circle)

    @property
    def thickness_mm(self) -> float:
        """Thickness."""
        table = sizes.INCH_THICKNESS_MM if self.inch else sizes.THICKNESS_MM
        return table[self.thickness]

    @property
    def corner_radius_mm(self) -> float | None:
        """Corner radius; None for a round insert and for one with a wiper edge."""
        if self.shape == "R" or self.corner[:1] in tables.WIPER_EDGE_DEG:
            return None
        number = sizes.INCH_CORNER[self.corner] if self.inch else self.corner
        return int(number) / 10

    def corner_span(self) -> tuple[int, int]:
        """Start and end of the corner in the plain text; equal where there is none."""
        start = 4 + len(self.size) + len(self.thickness)
        return start, start + len(self.corner)

    @property
    def faces(self) -> int | None:
        """Faces that cut, 1 or 2; None where a special type or clearance leaves it open.

        Only an insert without clearance can be turned over: its flanks stand square to both
        faces.
        """
        of_type = tables.TYPES[self.type].faces
        if of_type == 2 and self.clearance != "N":
            return None if self.clearance_deg is None else 1
        return of_type

    @property
    def edges(self) -> int | None:
        """Corners that cut times faces that cut; None where the letters do not tell it."""
        corners = tables.SHAPES[self.shape].corners
        if self.shape == "L":
            corners = tables.RECTANGLE_CORNERS.get(self.hand)
        if corners is None or self.faces is None:
            return None
        return corners * self.faces

    @property
    def limits(self) -> Limits:
        """Plus-minus values of the tolerance class."""
        return limits(self.tolerance, self.shape, self.circle_mm)

    @property
    def metric_size(self) -> str | None:
        """Metric size number; None where the shape has none for this circle."""
        if not self.inch:
            return self.size
        return sizes.size_for_circle(self.shape, sizes.INCH_CIRCLE_MM[self.size])

    def metric(self) -> Insert | None:
        """The same insert with metric numbers; None where they cannot tell its size."""
        size = self.metric_size
        if not self.inch or size is None:
            return None if self.inch else self
        thickness = _number_of(sizes.THICKNESS_MM, self.thickness_mm)
        if thickness is None:
            return None
        corner = sizes.INCH_CORNER.get(self.corner or "0", self.corner)
        return self._with(size, thickness, corner, inch=False)

    def inches(self) -> Insert | None:
        """The same insert with inch numbers; None where the inch form has none for it."""
        if self.inch:
            return self
        size = _number_of(sizes.INCH_CIRCLE_MM, self.circle_mm)
        thickness = _number_of(sizes.INCH_THICKNESS_MM, self.thickness_mm)
        corner = _number_of(sizes.INCH_CORNER, self.corner)
        if self.corner[:1] in tables.WIPER_EDGE_DEG:
            corner = self.corner
        if size is None or thickness is None or corner is None:
            return None
        if self.shape == "R":
            corner = ""
        return self._with(size, thickness, corner, inch=True)

    def _with(self, size: str, thickness: str, corner: str, *, inch: bool) -> Insert:
        return Insert(
            self.shape, self.clearance, self.tolerance, self.type, size, thickness, corner,
            self.condition, self.chamfer, self.hand, self.maker, inch,
        )  # fmt: skip


def _number_of(table: Mapping[str, Value], wanted: Value | None) -> str | None:
    return next((number for number, value in table.items() if value == wanted), None)


def parse_insert(plain: str) -> Insert:
    """Read plain text (see ``scanning.plain_text``).

    Raises:
        Unreadable: It stops making sense.
    """
    scanner = Scanner(plain)
    shape = scanner.take(1, "shape", tables.SHAPES)
    clearance = scanner.take(2, "clearance", tables.CLEARANCE_DEG)
    tolerance = scanner.take(3, sentence("tolerance class"), CLASSES)
    kind = scanner.take(4, "type", tables.TYPES)
    size, thickness, corner, inch = _numbers(scanner, shape)
    condition = scanner.take_if(tables.EDGE_CONDITION)
    chamfer = ""
    if condition and condition in "TS" and _is_chamfer(scanner.left[:5]):
        chamfer = scanner.left[:5]
        scanner.at += 5
    hand = scanner.take_if(tables.HAND)
    maker = scanner.take_maker(10)
    return Insert(
        shape, clearance, tolerance, kind, size, thickness, corner, condition, chamfer, hand,
        maker, inch,
    )  # fmt: skip


def _is_chamfer(digits: str) -> bool:
    # Three digits of width, two of angle, from memory of clause 6.1.
    return len(digits) == 5 and digits.isascii() and digits.isdigit()


def _numbers(scanner: Scanner, shape: str) -> tuple[str, str, str, bool]:
    """Positions 5 to 7: metric if they can be, else inches; else why not."""
    start = scanner.at
    try:
        return (*_metric_numbers(scanner, shape), False)
    except Unreadable as not_metric:
        for numbers in _inch_numbers(scanner.text[start:], shape):
            scanner.at = start + len("".join(numbers))
            return (*numbers, True)
        scanner.at = start
        not_inches = _why_not_inches(scanner, shape)
        raise max(not_metric, not_inches, key=lambda wrong: wrong.position) from None


def _metric_numbers(scanner: Scanner, shape: str) -> tuple[str, str, str]:
    size = scanner.take(
        5, sentence("size of shape {shape}", shape=shape), sizes.sizes_of(shape)
    )
    thickness = scanner.take(6, "thickness", sizes.THICKNESS_MM)
    if shape == "R":
        corners = ["M0"] if size in sizes.ROUND_METRIC_MM else []
        return (
            size,
            thickness,
            scanner.take(7, sentence("corner of a round insert"), [*corners, "00"]),
        )
    circle = sizes.circle_mm(shape, size, "")
    largest = 99 if circle is None else int(circle * 5)  # radius of the inscribed circle
    words = [
        sentence("00 to {largest} (tenths of a millimetre)", largest=format(largest, "02d")),
        sentence("two letters of a wiper edge"),
    ]
    return size, thickness, scanner.take(7, "corner", _corners(largest), words)


_WIPERS = [one + other for one in tables.WIPER_EDGE_DEG for other in tables.WIPER_CLEARANCE_DEG]


@cache
def _corners(largest: int) -> tuple[str, ...]:
    return (*(f"{tenths:02d}" for tenths in range(largest + 1)), *_WIPERS)


def _inch_numbers(text: str, shape: str) -> Iterator[tuple[str, str, str]]:
    """Every way to read a text as inch numbers that are not followed by more of a number.

    The numbers have no fixed width: 21.51 is 2, 1.5 and 1. A test holds that no text has two
    such readings.
    """
    if shape in sizes.LONG_SHAPES:
        return
    corners = ["", "0"] if shape == "R" else [*sizes.INCH_CORNER, *_WIPERS]
    for size, circle in sizes.INCH_CIRCLE_MM.items():
        for thickness in sizes.INCH_THICKNESS_MM:
            if not text.startswith(size + thickness):
                continue
            for corner in corners:
                number = size + thickness + corner
                after = text[len(number) : len(number) + 1]
                radius = sizes.INCH_CORNER.get(corner, "00")
                ends = text.startswith(number) and not (after.isdigit() or after == ".")
                if ends and int(radius) <= circle * 5:
                    yield size, thickness, corner


def _why_not_inches(scanner: Scanner, shape: str) -> Unreadable:
    try:
        size = scanner.take(5, sentence("size in eighths of an inch"), sizes.INCH_CIRCLE_MM)
        if shape in sizes.LONG_SHAPES or re.match(r"T[0-9]", scanner.left):
            return Unreadable(
                5, scanner.at - len(size), "size", [], [sentence("a metric size")]
            )
        scanner.take(6, sentence("thickness in sixteenths of an inch"), sizes.INCH_THICKNESS_MM)
    except Unreadable as wrong:
        return wrong
    corners = [*sizes.INCH_CORNER, *_WIPERS]
    words = [*sizes.INCH_CORNER, sentence("two letters of a wiper edge")]
    return Unreadable(
        7, scanner.at, sentence("corner in sixty-fourths of an inch"), corners, words
    )
