"""Between which values a number is plausible, and which slip an implausible one may be."""

from __future__ import annotations

import math
from typing import NamedTuple

from crib.sentence import sentence, together

#: A slip of the decimal point, or of a unit: mm for m, µm for mm, cm for mm.
_SLIPS = (10.0, 100.0, 1000.0)


class Bounds(NamedTuple):
    """Plausible values of a number, in the unit of its name.

    Attributes:
        least: Smallest value, itself allowed.
        above: Value that must be exceeded.
        most: Largest value, itself allowed.
        zero: Whether 0 is allowed below ``least``: none, or nothing known.
        usual: What shops mostly write; a slip is guessed only into this span.
    """

    least: float | None = None
    above: float | None = None
    most: float | None = None
    zero: bool = False
    usual: tuple[float, float] | None = None

    def admits(self, value: float) -> bool:
        """Whether a value is plausible; NaN and infinity never are.

        Examples:
            >>> clearance = Bounds(0.5, most=60, zero=True)
            >>> clearance.admits(7), clearance.admits(0), clearance.admits(5e-324)
            (True, True, False)
        """
        if self.zero and value == 0:
            return True
        return (
            math.isfinite(value)
            and (self.least is None or value >= self.least)
            and (self.above is None or value > self.above)
            and (self.most is None or value <= self.most)
        )

    def __str__(self) -> str:
        """The span in words.

        Examples:
            >>> str(Bounds(0.5, most=60, zero=True)), str(Bounds(above=0, most=1))
            ('0, or from 0.5 to 60', 'more than 0, at most 1')
        """
        if self.least is not None and self.most is not None and self.above is None:
            span: str = sentence(
                "from {plain} to {plain2}", plain=plain(self.least), plain2=plain(self.most)
            )
        else:
            pairs = (
                (sentence("at least"), self.least),
                (sentence("more than"), self.above),
                (sentence("at most"), self.most),
            )
            span = together(
                ", ",
                [
                    together(" ", (words, plain(bound)))
                    for words, bound in pairs
                    if bound is not None
                ],
            )
        return sentence("0, or {span}", span=span) if self.zero else span

    def guess(self, value: float) -> float | None:
        """What was probably meant by an implausible value; None where nothing is likely.

        Examples:
            >>> Bounds(0.005, most=3, usual=(0.05, 0.8)).guess(12)
            0.12
        """
        if self.usual is None or not math.isfinite(value) or value == 0:
            return None
        low, high = self.usual
        moved = [value / slip for slip in _SLIPS] + [value * slip for slip in _SLIPS]
        near = [float(f"{one:.6g}") for one in moved if low <= one <= high]
        middle = math.sqrt(low * high)
        return min(near, key=lambda one: abs(math.log(one / middle)), default=None)

    def question(self, value: float) -> str:
        """``Did you mean 0.12?`` after a space; nothing where no slip is likely."""
        guess = self.guess(value)
        return "" if guess is None else sentence(" Did you mean {plain}?", plain=plain(guess))


def plain(bound: float) -> str:
    """A bound as people write it.

    Examples:
        >>> plain(200_000), plain(0.0001), plain(10_000_000)
        ('200000', '0.0001', '10000000')
    """
    return f"{bound:g}" if abs(bound) < 1e6 else f"{bound:.0f}"
