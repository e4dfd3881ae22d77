"""Whether a gauge drifts, how fast, and when that will have used up its tolerance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.errors import OutsideModel
from crib.metrology.uncertainty import coverage_factor
from crib.sentence import sentence

#: Level at which a slope is called a drift.
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Drift:
    """A straight line through the bias of a gauge over time.

    Attributes:
        checks: How many.
        slope_mm_per_day: Least squares.
        slope_se_mm_per_day: Its standard error; None for two checks.
        bias_mm: On the line at the last check [mm].
        residual_mm: Standard deviation about the line; None for two checks.
        drifts: Whether the slope differs from none by more than chance; None where two
            checks cannot tell.
        used_up_in_days: From the last check until the line meets the limit; None where it
            does not within a hundred years, or nothing speaks for a drift.
        used_up_earliest_in_days: The same with the steepest slope that the level allows.
    """

    checks: int
    slope_mm_per_day: float
    slope_se_mm_per_day: float | None
    bias_mm: float
    residual_mm: float | None
    drifts: bool | None
    used_up_in_days: float | None
    used_up_earliest_in_days: float | None


def study_drift(days: npt.ArrayLike, bias_mm: npt.ArrayLike, limit_mm: float) -> Drift:
    """Fit the drift of a gauge and see when it meets the limit.

    Args:
        days: When each check was made [d], shape (checks,).
        bias_mm: Bias found [mm], shape (checks,).
        limit_mm: How far the gauge may read off its master [mm].

    Raises:
        OutsideModel: Fewer than two checks at different times, values that are not finite,
            or a limit that is not above zero.

    References:
        Least squares line with its standard error and Student's t, n - 2 degrees of freedom:
        JCGM 100:2008, H.3.
    """
    when, bias = np.asarray(days, dtype=np.float64), np.asarray(bias_mm, dtype=np.float64)
    if when.shape != bias.shape or when.ndim != 1 or not np.isfinite([when, bias]).all():
        raise OutsideModel(sentence("Give one finite bias for each check."))
    if not 0 < limit_mm < float("inf"):
        raise OutsideModel(sentence("The limit of a drift must be finite and above zero."))
    centred = when - when.mean() if when.size else when
    square = float(centred @ centred)
    if square <= 1e-18:
        raise OutsideModel(sentence("A drift needs two checks at different times."))
    slope = float(centred @ (bias - bias.mean())) / square
    last = float(when.max() - when.mean())
    now = float(bias.mean()) + slope * last
    if when.size == 2:
        return Drift(2, slope, None, now, None, None, None, None)
    freedom = when.size - 2
    off = bias - bias.mean() - slope * centred
    residual = float(np.sqrt(off @ off / freedom))
    error = residual / float(np.sqrt(square))
    reach = coverage_factor(freedom, LEVEL) * error
    drifts = abs(slope) > reach and slope != 0
    steepest = slope + (reach if slope > 0 else -reach)
    return Drift(
        int(when.size),
        slope,
        error,
        now,
        residual,
        drifts,
        _days_to(limit_mm, now, slope) if drifts else None,
        _days_to(limit_mm, now, steepest) if drifts else None,
    )


def _days_to(limit_mm: float, now_mm: float, slope: float) -> float | None:
    """Days until a line meets the limit on the side that it goes to."""
    left = limit_mm - now_mm * (1 if slope > 0 else -1)
    if left <= 0:
        return 0.0
    days = left / abs(slope)
    return days if days < 36_525 else None
