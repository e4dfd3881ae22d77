"""The wear lines of many stations at once: numbers up to a running second, and back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crib.arrays import Floats, Ints
from crib.planning.demand import WearAhead

#: Stands for infinity, of which no share can be taken.
_GREATEST = 1e300


class WearLines:
    """Lines through few points each, looked up for whole arrays.

    Says the same as ``WearAhead`` of each line. Shorter lines are filled up with their last
    point.

    Args:
        lines: One line per row.
    """

    __slots__ = ("_at", "_until")

    def __init__(self, lines: Sequence[WearAhead]) -> None:
        size = max((len(line.end_s) for line in lines), default=1)
        points = _filled([line.end_s for line in lines], size)
        wear = _filled([line.wear for line in lines], size)
        self._at = _Crossing(points, wear, wear[:, -1])
        self._until = _Crossing(wear, points, np.full(len(wear), np.inf))

    def at(self, rows: Ints, seconds: Floats) -> Floats:
        """Wear put on by a running second, shape (rows,)."""
        return self._at.reached(rows, seconds)

    def until(self, rows: Ints, wear: Floats) -> Floats:
        """Running seconds until so much is put on, shape (rows,); infinite where never."""
        return self._until.reached(rows, wear)


def _filled(lines: Sequence[tuple[float, ...]], size: int) -> Floats:
    table = [line + (line[-1],) * (size - len(line)) for line in lines]
    return np.array(table, dtype=np.float64).reshape(len(table), size)


class _Crossing:
    """Where rising lines of ``given`` reach a value, in terms of ``wanted``.

    The piece before the first point and the one behind the last are level, so that every value
    lies in a piece of its line: plans look thousands of times, mostly for a few stations.

    Args:
        given: One line per row.
        wanted: The same points in the other terms.
        beyond: What is reached behind the last point, one per row.
    """

    __slots__ = ("_base", "_given", "_low", "_rise", "_span", "_width")

    def __init__(self, given: Floats, wanted: Floats, beyond: Floats) -> None:
        level = np.zeros((len(given), 1))
        low, base = given[:, :-1], wanted[:, :-1]
        span = np.diff(given, axis=1)
        self._given, self._width = given, given.shape[1] + 1
        self._low = np.hstack([level, low, level]).ravel()
        self._base = np.hstack([level, base, beyond[:, None]]).ravel()
        self._rise = np.hstack([level, np.diff(wanted, axis=1), level]).ravel()
        self._span = np.hstack(
            [level + np.inf, np.where(span > 0, span, np.inf), level + np.inf]
        ).ravel()

    def reached(self, rows: Ints, value: Floats) -> Floats:
        value = np.minimum(np.maximum(value, 0.0), _GREATEST)
        piece = rows * self._width + (self._given[rows] < value[:, None]).sum(axis=1)
        share = (value - self._low[piece]) / self._span[piece]
        found: Floats = self._base[piece] + share * self._rise[piece]
        return found
