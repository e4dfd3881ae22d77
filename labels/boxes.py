"""What layout hands to drawing: boxes in millimetres from the top left, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

from crib.units import MM_PER_IN
from labels.code_symbol import Symbol
from labels.text import PT_MM, line_height_mm
from labels.typeface import ASCENT, Face


@dataclass(frozen=True, slots=True)
class TextBox:
    """One run of text in drawing order.

    Attributes:
        x_mm: Left edge [mm].
        y_mm: Top edge [mm].
        width_mm: Width of the text as drawn [mm].
        shown: The text in drawing order.
        face: The typeface.
        size_pt: Type size [pt].
        cut: Whether the text ends in an ellipsis for want of room.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    shown: str
    face: Face
    size_pt: float
    cut: bool = False

    @property
    def height_mm(self) -> float:
        """Height of the line [mm]."""
        return line_height_mm(self.size_pt)

    @property
    def baseline_mm(self) -> float:
        """From the top of the label or page to the baseline [mm]."""
        return self.y_mm + ASCENT * self.size_pt * PT_MM


@dataclass(frozen=True, slots=True)
class Rule:
    """A filled rectangle: a thin line, or the side of a frame [mm]."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class SymbolBox:
    """A symbol with its quiet zone; ``dots`` printer dots a module, at ``dpi``."""

    x_mm: float
    y_mm: float
    symbol: Symbol
    dots: int
    dpi: int

    @property
    def module_mm(self) -> float:
        """Side of a module [mm]."""
        return self.dots * MM_PER_IN / self.dpi

    @property
    def side_mm(self) -> float:
        """Side with the quiet zone [mm]."""
        return self.symbol.side_modules * self.module_mm


@dataclass(frozen=True, slots=True)
class Laid:
    """One label or page, laid out."""

    width_mm: float
    height_mm: float
    texts: tuple[TextBox, ...]
    rules: tuple[Rule, ...] = ()
    symbol: SymbolBox | None = None
