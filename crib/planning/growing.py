"""A column of numbers that grows at its end without copying what is there."""

from __future__ import annotations

from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

_Number = TypeVar("_Number", np.int64, np.float64)


class GrowingColumn(Generic[_Number]):
    """Numbers in order with room behind them; what was given out before never changes.

    Args:
        numbers: The first ones.
    """

    __slots__ = ("_room", "_size")

    def __init__(self, numbers: NDArray[_Number]) -> None:
        self._room: NDArray[_Number] = numbers.copy()
        self._size = numbers.size

    def append(self, more: NDArray[_Number]) -> None:
        """Put numbers behind those there, in time that they alone cost (on average)."""
        size = self._size + more.size
        if size > self._room.size:
            room = np.empty(max(size + size // 4, 64), dtype=self._room.dtype)
            room[: self._size] = self._room[: self._size]
            self._room = room
        self._room[self._size : size] = more
        self._size = size

    def all(self) -> NDArray[_Number]:
        """The numbers so far; not to be written to."""
        view: NDArray[_Number] = self._room[: self._size]
        view.flags.writeable = False
        return view
