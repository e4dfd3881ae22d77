"""Where things lie in a drawn figure: round ticks, lines and bands as path data."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

#: The drawing field in figure units; the frame around it holds the figures of the axes.
LEFT: Final = 84.0
RIGHT: Final = 690.0
TOP: Final = 16.0
BOTTOM: Final = 300.0


@dataclass(frozen=True, slots=True)
class Field:
    """A drawing field: greatest values of both axes, which begin at 0."""

    x_most: float
    y_most: float
    top: float = TOP
    bottom: float = BOTTOM

    def x(self, value: float) -> float:
        """Place along the figure."""
        share = min(max(value / self.x_most, 0.0), 1.0)
        return round(LEFT + share * (RIGHT - LEFT), 1)

    def y(self, value: float) -> float:
        """Place down the figure."""
        share = min(max(value / self.y_most, 0.0), 1.0)
        return round(self.bottom - share * (self.bottom - self.top), 1)

    def line(self, points: Iterable[tuple[float, float]]) -> str:
        """Straight lines through points."""
        return "M" + " L".join(f"{self.x(x)},{self.y(y)}" for x, y in points)

    def area(
        self, lower: Sequence[tuple[float, float]], upper: Sequence[tuple[float, float]]
    ) -> str:
        """The area between two lines of rising x."""
        return self.line([*upper, *reversed(lower)]) + " Z"

    def stairs(self, points: Sequence[tuple[float, float]], until: float) -> str:
        """Steps that stay at 1 until the first point and at each until the next."""
        corners, level = [(0.0, 1.0)], 1.0
        for x, y in points:
            corners += [(x, level), (x, y)]
            level = y
        return self.line([*corners, (until, level)])


def ticks(most: float, about: int = 4) -> list[float]:
    """Round values from 0 to the greatest, about so many steps apart.

    Examples:
        >>> ticks(930)
        [0.0, 200.0, 400.0, 600.0, 800.0]
        >>> ticks(0.0)
        [0.0]
    """
    if not (most > 0 and math.isfinite(most)):
        return [0.0]
    rough = most / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * 0.999)
    return [round(step * number, 12) for number in range(int(most / step + 1e-9) + 1)]


def rows_apart(places: Sequence[float], gap: float, rows: int) -> list[int]:
    """Rows for marks on a strip so that neighbours of one row do not touch, while rows last.

    Args:
        places: Places along the strip, rising.
        gap: Least distance in one row.
        rows: How many rows there are.
    """
    last = [-math.inf] * rows
    found = []
    for place in places:
        free = [row for row in range(rows) if place - last[row] >= gap]
        row = free[0] if free else last.index(min(last))
        last[row] = place
        found.append(row)
    return found
