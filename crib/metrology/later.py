"""Presets of one gauge against the offsets that first parts asked for later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.metrology.uncertainty import coverage_factor
from crib.sentence import sentence

#: Level of the intervals.
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Effect:
    """One coefficient of the comparison.

    Attributes:
        value: The coefficient.
        standard_error: Its standard error.
        reach: Half width of its 95 % interval.
    """

    value: float
    standard_error: float
    reach: float

    @property
    def beyond_chance(self) -> bool:
        """Whether it differs from none by more than its interval."""
        return abs(self.value) > self.reach


@dataclass(frozen=True, slots=True)
class Later:
    """What first-offs say of the presets of one gauge.

    Attributes:
        first_offs: First-offs of tools that were measured on it.
        offset_mm: Against other gauges in the same stations [mm]; None where no station
            holds tools of both.
        drift_mm_per_day: How the residuals move over time within the stations; None where
            they do not spread over time, or are too few.
    """

    first_offs: int
    offset_mm: Effect | None
    drift_mm_per_day: Effect | None


def compare_later(
    residuals_mm: npt.ArrayLike,
    stations: npt.ArrayLike,
    mine: npt.ArrayLike,
    days: npt.ArrayLike,
) -> Later:
    """Part a gauge's offset and drift from the data of the stations.

    Least squares with a level for each station, an offset for tools of the gauge, and a
    slope over the days on which these were measured.

    Args:
        residuals_mm: Measure that would have been right less the measure taken, shape (tools,)
            [mm].
        stations: Number of the station of each, same shape.
        mine: Whether it was measured on the gauge, same shape.
        days: When it was measured, same shape [d].

    Raises:
        OutsideModel: Lengths that differ, or values that are not finite.

    References:
        Linear least squares with its covariance and Student's t: JCGM 100:2008, H.3 and G.3.
    """
    values, when = np.asarray(residuals_mm, dtype=float), np.asarray(days, dtype=float)
    places, own = np.asarray(stations), np.asarray(mine, dtype=bool)
    if not values.shape == when.shape == places.shape == own.shape or values.ndim != 1:
        raise OutsideModel(
            sentence("Give one residual, station, gauge and day for each first-off.")
        )
    if not (np.isfinite(values).all() and np.isfinite(when).all()):
        raise OutsideModel(sentence("A residual or a day is not a finite number."))
    if not own.any():
        return Later(0, None, None)
    levels = np.asarray(places[:, None] == np.unique(places)[None, :], dtype=float)
    since = np.where(own, when - when[own].mean(), 0.0)
    kept: list[Floats] = []
    names = []
    base = levels
    for name, column in (("offset", own.astype(float)), ("drift", since)):
        if _adds(base, column):
            base = np.column_stack([base, column])
            kept.append(column)
            names.append(name)
    effects = dict(zip(names, _effects(base, values, len(kept)), strict=True))
    return Later(int(own.sum()), effects.get("offset"), effects.get("drift"))


def _adds(base: Floats, column: Floats) -> bool:
    """Whether a column tells more than the ones before it."""
    fitted = base @ np.linalg.lstsq(base, column, rcond=None)[0]
    return float(np.abs(column - fitted).max()) > 1e-9 * max(1.0, float(np.abs(column).max()))


def _effects(design: Floats, values: Floats, last: int) -> list[Effect | None]:
    """Coefficients of the last columns; None each where nothing is left to judge them by."""
    freedom = values.size - design.shape[1]
    if freedom < 1:
        return [None] * last
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ values
    off = values - design @ found
    errors = np.sqrt(np.diag(inverse) * float(off @ off) / freedom)
    factor = coverage_factor(freedom, LEVEL)
    first = design.shape[1] - last
    return [
        Effect(float(found[k]), float(errors[k]), factor * float(errors[k]))
        for k in range(first, design.shape[1])
    ]
