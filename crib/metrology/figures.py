"""Lengths within sentences: in one unit, with the places that the control or gauge shows."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from crib.metrology.offset import key_in_text, plain_text
from crib.sentence import Figure
from crib.units import MM_PER_IN, TENTHS_UM_PER_IN, TENTHS_UM_PER_MM


@dataclass(frozen=True, slots=True)
class Figures:
    """How a machine or a gauge writes lengths.

    Args:
        unit: ``mm`` or ``in``.
        increment_tenths_um: Least step that it shows [0.1 µm].
    """

    unit: str = "mm"
    increment_tenths_um: int = 1

    def exact(self, length_tenths_um: float, *, sign: bool = False) -> Figure:
        """A length with its unit, rounded once; with a plus only where a sign is wanted.

        Examples:
            >>> Figures("in").exact(1270), Figures("mm", 10).exact(1270, sign=True)
            ('0.00500 in', '+0.127 mm')
        """
        write = key_in_text if sign else plain_text
        exact = Decimal(repr(round(length_tenths_um, 5)))
        return Figure(f"{write(exact, self.unit, self.increment_tenths_um)} {self.unit}")

    def of_mm(self, length_mm: float, *, sign: bool = False) -> Figure:
        """The same of a number in mm."""
        return self.exact(length_mm * TENTHS_UM_PER_MM, sign=sign)

    def up(self, length_mm: float) -> Figure:
        """An uncertainty, rounded up: it never says less than was found.

        Examples:
            >>> Figures("mm", 10).up(0.0041), Figures("in").up(0.00254), Figures().up(0.0)
            ('0.005 mm', '0.00010 in', '0.0000 mm')
        """
        places = len(plain_text(0, self.unit, self.increment_tenths_um).partition(".")[2])
        # a float's own noise, far below 0.1 µm, is not rounded up
        exact = Decimal(repr(round(length_mm * TENTHS_UM_PER_MM, 5)))
        exact /= TENTHS_UM_PER_IN if self.unit == "in" else TENTHS_UM_PER_MM
        up = exact.quantize(Decimal(1).scaleb(-places), ROUND_CEILING)
        return Figure(f"{format(up, 'f')} {self.unit}")

    def small(self, length_mm: float) -> Figure:
        """A move far below what is shown, such as a day's drift, with its sign.

        Examples:
            >>> Figures().small(0.00012), Figures("in").small(0.000127)
            ('+0.120 µm', '+5.0 µin')
        """
        if self.unit == "in":
            return Figure(f"{length_mm / MM_PER_IN * 1_000_000:+.1f} µin")
        return Figure(f"{length_mm * 1000:+.3f} µm")


#: Millimetres with four places, as they are kept.
MM = Figures()
