"""Life curves of keys and boxes, made once: a plan asks for the same ones dozens of times."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.curves import NODES, Curves

#: Most curves that are kept (about 10 MB); a larger shop makes them as asked for.
MOST_KEPT: Final = 4_096


@dataclass(slots=True)
class KeptCurves:
    """Curves by number, from 0; filled as they are asked for, by several threads if need be."""

    _made: Bools = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    _centre: Floats = field(default_factory=lambda: np.zeros(0))
    _log_hazard: Floats = field(default_factory=lambda: np.zeros((0, NODES)))
    _lock: Lock = field(default_factory=Lock)

    def of(self, wanted: Ints, total: int, make: Callable[[Ints], Curves]) -> Curves:
        """Curves of the numbers wanted.

        Args:
            wanted: Numbers below ``total``.
            total: How many there could be.
            make: Makes the curves of some numbers.
        """
        if total > MOST_KEPT:
            return make(wanted)
        with self._lock:
            if len(self._made) != total:
                self._centre, self._log_hazard = np.zeros(total), np.zeros((total, NODES))
                self._made = np.zeros(total, dtype=np.bool_)
            missing = wanted[~self._made[wanted]]
            if len(missing):
                made = make(missing)
                self._centre[missing], self._log_hazard[missing] = made.centre, made.log_hazard
                self._made[missing] = True
            return Curves(self._centre[wanted], self._log_hazard[wanted])
