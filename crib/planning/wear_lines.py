"""The wear lines of many stations at once: numbers up to a running second, and back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crib.arrays import Floats, Ints
from crib.planning.demand import WearAhead


class WearLines:
    """Lines through few points each, looked up for whole arrays.

    Says the same as ``WearAhead`` of each line. Shorter lines are filled up with their last
    point.

    Args:
        lines: One line per row.
    """

    __slots__ = ("_points", "_wear")

    def __init__(self, lines: Sequence[WearAhead]) -> None:
        size = max((len(line.end_s) for line in lines), default=1)
        self._points = _filled([line.end_s for line in lines], size)
        self._wear = _filled([line.wear for line in lines], size)

    def at(self, rows: Ints, seconds: Floats) -> Floats:
        """Wear put on by a running second, shape (rows,)."""
        return _cross(self._points[rows], self._wear[rows], seconds, beyond=None)

    def until(self, rows: Ints, wear: Floats) -> Floats:
        """Running seconds until so much is put on, shape (rows,); infinite where never."""
        return _cross(self._wear[rows], self._points[rows], wear, beyond=np.inf)


def _filled(lines: Sequence[tuple[float, ...]], size: int) -> Floats:
    table = [line + (line[-1],) * (size - len(line)) for line in lines]
    return np.array(table, dtype=np.float64).reshape(len(table), size)


def _cross(given: Floats, wanted: Floats, value: Floats, beyond: float | None) -> Floats:
    """Where a rising line of ``given`` reaches a value, in terms of ``wanted``."""
    size = given.shape[1]
    row = np.arange(len(given))
    index = np.sum(given < value[:, None], axis=1)
    right = np.minimum(index, size - 1)
    left = np.maximum(right - 1, 0)
    low, high = given[row, left], given[row, right]
    span = high - low
    share = np.where(span > 0, (value - low) / np.where(span > 0, span, 1.0), 0.0)
    base = wanted[row, left]
    reached: Floats = base + share * (wanted[row, right] - base)
    reached = np.where(index == 0, 0.0, reached)
    last = wanted[:, -1] if beyond is None else np.full(len(given), beyond)
    result: Floats = np.where(index == size, last, reached)
    return result
