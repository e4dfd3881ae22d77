"""Swap policies that need no forecast: a count per key."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crib.arrays import Floats
from tests.bench.forecast.floor import Floor, Plan


@dataclass(frozen=True, slots=True)
class ByCount:
    """Swap at an age per station; what would run out in the night is swapped before it.

    Attributes:
        ages: Reckoned wear at which to swap, shape (stations,).
    """

    ages: Floats

    def __call__(self, floor: Floor, day: int, begin_s: float, shift_s: float) -> Plan:
        """Seconds until each swap."""
        _, wear, _ = floor.rates(day)
        due = np.maximum(self.ages - floor.told.wear, 0.0) / wear
        if begin_s > 0:
            dark = (due > shift_s) & (due < shift_s + floor.plant.dark_s)
            due = np.where(dark, shift_s, due)
        return due, self.ages
