"""Square-shank turning holders (ISO 5608) and boring bars (ISO 6261): read, print."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from crib.designation import holder_tables, sizes, tables
from crib.designation.scanning import Scanner, Unreadable
from crib.sentence import sentence


@dataclass(frozen=True, slots=True)
class Pocket:
    """What holders of both kinds say of the insert and how it lies.

    Attributes:
        clamping: Letter of the clamping.
        shape: Letter of the insert's shape.
        style: Letter of the style, which fixes the edge angle.
        clearance: Letter of the insert's clearance.
        hand: R, L or N.
        size: Metric size number of the insert.
    """

    clamping: str
    shape: str
    style: str
    clearance: str
    hand: str
    size: str

    @property
    def letters(self) -> str:
        """The five letters in the order in which both standards write them."""
        return f"{self.clamping}{self.shape}{self.style}{self.clearance}{self.hand}"


@dataclass(frozen=True, slots=True)
class TurningHolder:
    """A square-shank holder (ISO 5608).

    Attributes:
        pocket: Positions 1 to 5, and 9.
        height: Position 6.
        width: Position 7.
        length: Position 8, a letter or a dash.
        faces: Position 10; empty where not given.
        maker: The maker's letters after a dash.
    """

    pocket: Pocket
    height: str
    width: str
    length: str
    faces: str = ""
    maker: str = ""

    def __str__(self) -> str:
        """The text that it was read from."""
        return (
            f"{self.pocket.letters}{self.height}{self.width}{self.length}{self.pocket.size}"
            f"{self.faces}{'-' if self.maker else ''}{self.maker}"
        )

    @property
    def edge_angle_deg(self) -> float | None:
        """Edge angle; None for a special style."""
        return holder_tables.STYLE_DEG[self.pocket.style]

    @property
    def shank_height_mm(self) -> float:
        """Height of the shank."""
        return holder_tables.SHANK_MM[self.height]

    @property
    def shank_width_mm(self) -> float:
        """Width of the shank."""
        return holder_tables.SHANK_MM[self.width]

    @property
    def length_mm(self) -> float | None:
        """Overall length; None where special, or given only as that of ISO 5610."""
        return holder_tables.LENGTH_MM.get(self.length)


@dataclass(frozen=True, slots=True)
class BoringBar:
    """A boring bar (ISO 6261).

    Attributes:
        kind: Position 1: what the bar is made of.
        diameter: Position 2.
        length: Position 3.
        pocket: Positions 4 to 9.
        maker: The maker's letters after a dash.
    """

    kind: str
    diameter: str
    length: str
    pocket: Pocket
    maker: str = ""

    def __str__(self) -> str:
        """The text that it was read from."""
        return (
            f"{self.kind}{self.diameter}{self.length}-{self.pocket.letters}{self.pocket.size}"
            f"{'-' if self.maker else ''}{self.maker}"
        )

    @property
    def edge_angle_deg(self) -> float | None:
        """Edge angle; None for a special style."""
        return holder_tables.BAR_STYLE_DEG[self.pocket.style]

    @property
    def shank_diameter_mm(self) -> float:
        """Diameter of the shank."""
        return holder_tables.BAR_DIAMETER_MM[self.diameter]

    @property
    def length_mm(self) -> float | None:
        """Overall length; None where special."""
        return holder_tables.LENGTH_MM[self.length]


def parse_any_holder(plain: str) -> TurningHolder | BoringBar:
    """Read plain text as either kind.

    Raises:
        Unreadable: It is neither.
    """
    try:
        return parse_holder(plain)
    except Unreadable as not_a_holder:
        try:
            return parse_bar(plain)
        except Unreadable as not_a_bar:
            raise max(not_a_holder, not_a_bar, key=lambda wrong: wrong.at) from None


def parse_holder(plain: str) -> TurningHolder:
    """Read plain text as a square-shank holder.

    Raises:
        Unreadable: It stops making sense.
    """
    scanner = Scanner(plain)
    letters = _letters(scanner, 1, holder_tables.STYLE_DEG, holder_tables.HAND)
    height = scanner.take(6, sentence("shank height"), holder_tables.SHANK_MM)
    width = scanner.take(7, sentence("shank width"), holder_tables.SHANK_MM)
    lengths = [*holder_tables.LENGTH_MM, holder_tables.STANDARD_LENGTH]
    length = scanner.take(8, sentence("length letter"), lengths)
    size = _size(scanner, letters[1])
    faces = scanner.take_if(holder_tables.CLOSE_TOLERANCE)
    maker = scanner.take_maker(11)
    return TurningHolder(Pocket(*letters, size), height, width, length, faces, maker)


def parse_bar(plain: str) -> BoringBar:
    """Read plain text as a boring bar.

    Raises:
        Unreadable: It stops making sense.
    """
    scanner = Scanner(plain)
    kind = scanner.take(1, sentence("kind of bar"), holder_tables.BAR_KIND)
    diameter = scanner.take(2, sentence("shank diameter"), holder_tables.BAR_DIAMETER_MM)
    length = scanner.take(3, sentence("length letter"), holder_tables.LENGTH_MM)
    dash = sentence("dash before the clamping")
    scanner.take(4, dash, ["-"], [dash])
    letters = _letters(scanner, 4, holder_tables.BAR_STYLE_DEG, holder_tables.BAR_HAND)
    size = _size(scanner, letters[1])
    return BoringBar(kind, diameter, length, Pocket(*letters, size), scanner.take_maker(10))


def _letters(
    scanner: Scanner, first: int, styles: Iterable[str], hands: Iterable[str]
) -> tuple[str, str, str, str, str]:
    return (
        scanner.take(first, "clamping", holder_tables.CLAMPING),
        scanner.take(first + 1, sentence("insert shape"), tables.SHAPES),
        scanner.take(first + 2, "style", styles),
        scanner.take(first + 3, sentence("insert clearance"), tables.CLEARANCE_DEG),
        scanner.take(first + 4, "hand", hands),
    )


def _size(scanner: Scanner, shape: str) -> str:
    return scanner.take(
        9, sentence("insert size of shape {shape}", shape=shape), sizes.sizes_of(shape)
    )
