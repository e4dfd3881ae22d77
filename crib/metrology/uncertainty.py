"""Spread of repeats, how it becomes an uncertainty, and the guard band it costs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import sentence

#: Coverage factor of every expanded uncertainty here (about 95 %; JCGM 100, 6.3.3).
COVERAGE = 2.0


class SampleStatistics(NamedTuple):
    """Number, mean, standard deviation and Type A uncertainty of repeats, per series."""

    n: int
    mean: Floats
    standard_deviation: Floats
    type_a: Floats


def sample_statistics(values: npt.ArrayLike) -> SampleStatistics:
    """Mean, experimental standard deviation and ``s / sqrt(n)`` along the last axis.

    Each series is shifted by its first value and its residuals are corrected once, so that
    a small spread on a large value keeps its digits.

    Args:
        values: Repeats in any one unit, shape (..., n).

    Returns:
        Statistics of shape (...) in the same unit; deviation and Type A are NaN for n = 1.

    Raises:
        OutsideModel: No repeats, or one that is not a finite number.

    References:
        JCGM 100:2008, 4.2. Corrected two-pass sum: Chan, Golub and LeVeque, 1983.

    Examples:
        >>> statistics = sample_statistics([10000001, 10000003, 10000002])
        >>> float(statistics.mean), float(statistics.standard_deviation)
        (10000002.0, 1.0)
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim == 0 or table.shape[-1] == 0:
        raise OutsideModel(sentence("There are no readings: measure at least once."))
    if not np.isfinite(table).all():
        raise OutsideModel(sentence("A reading is not a finite number."))
    n = table.shape[-1]
    first = table[..., :1]
    shifted = table - first
    shift_mean = shifted.mean(axis=-1, keepdims=True)
    residual = shifted - shift_mean
    mean = np.asarray(first[..., 0] + shift_mean[..., 0])
    if n == 1:
        unknown = np.full(mean.shape, np.nan)
        return SampleStatistics(1, mean, unknown, unknown)
    squares = np.square(residual).sum(axis=-1) - np.square(residual.sum(axis=-1)) / n
    deviation = np.sqrt(np.maximum(squares, 0.0) / (n - 1))
    return SampleStatistics(n, mean, np.asarray(deviation), np.asarray(deviation / np.sqrt(n)))


def coverage_factor(degrees_of_freedom: float, level_prob: float) -> float:
    """Student's factor that covers ``level_prob`` two-sidedly (JCGM 100, table G.2).

    Raises:
        OutsideModel: No degree of freedom, or a level outside 0 to 1, ends excluded.

    Examples:
        >>> round(coverage_factor(9, 0.95), 2)
        2.26
    """
    if not degrees_of_freedom > 0 or not 0 < level_prob < 1:
        raise OutsideModel(
            sentence("Degrees of freedom must be above 0, the level between 0 and 1.")
        )
    return float(stdtrit(degrees_of_freedom, (1 + level_prob) / 2))


def acceptance_zone(lower: float, upper: float, guard: float) -> tuple[float, float]:
    """Limits moved inwards by the guard band; lower above upper means nothing can pass.

    All figures are in one unit, whatever it is.

    Source: ISO 14253-1, proving conformance with a guard band equal to the expanded
    uncertainty.
    """
    return lower + guard, upper - guard


def conforms(value: float, lower: float, upper: float, guard: float) -> bool:
    """Whether a measured value proves that the limits hold, all in one unit (ISO 14253-1)."""
    zone_lower, zone_upper = acceptance_zone(lower, upper, guard)
    slack = 1e-9 * max(abs(lower), abs(upper), 1.0)  # decimal limits are not exact in binary
    return zone_lower - slack <= value <= zone_upper + slack
