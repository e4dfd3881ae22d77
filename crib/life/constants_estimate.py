"""Estimated constants with standard errors and range, and the lives that they foretell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.life.constants_regression import LifeRegression
from crib.life.constants_tests import LifeTests
from crib.life.taylor import TaylorConstants
from crib.life.taylor_range import CurveRange
from crib.sentence import figure, sentence

_NAMES: Final = ("speed", "feed", "depth")
_WEIBULL_MEDIAN: Final = math.log(math.log(2.0))
_WEIBULL_SD: Final = math.pi / math.sqrt(6.0)
#: Normal quantile that leaves a tenth on either side.
TENTH: Final = 1.2815515655446004

#: Standard quantiles of W for 10 % and 90 %.
_TAILS: Final = {
    "weibull": (math.log(-math.log(0.9)), math.log(-math.log(0.1))),
    "lognormal": (-TENTH, TENTH),
}


@dataclass(frozen=True, slots=True)
class LifeAtCut:
    """A life foretold by estimated constants.

    Attributes:
        life_min: Half of the edges last so long.
        life_low_min: 10 % do not reach it; the constants' own uncertainty included.
        life_high_min: 10 % outlive it; the constants' own uncertainty included.
        outside: What of the cut lies outside the range that the lives cover; empty inside.
    """

    life_min: float
    life_low_min: float
    life_high_min: float
    outside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ConstantsEstimate:
    """Constants with what is uncertain about them.

    Attributes:
        constants: The curve of the life that half the edges reach.
        n_se: Standard error of n.
        c_se_m_min: Standard error of C.
        feed_exponent_se: Of the feed exponent; None where the lives gave no feeds.
        depth_exponent_se: Of the depth exponent; None where the lives gave no depths.
        residual_deviation: Standard deviation of ln life around the curve.
        shape: Weibull shape; None for the lognormal law.
        explained_share: Share of the variance of ln life that the curve explains; None where
            a life was cut short or an exponent was not determined.
        holds: Speeds, feeds and depths that the lives cover.
        told: Whether the lives determined the exponent of ``speed``, ``feed``, ``depth``.
        notes: What could not be determined, and lives to check; a sentence each.
        mean_cut: Geometric mean of speed, feed and depth of the lives.
    """

    constants: TaylorConstants
    n_se: float
    c_se_m_min: float
    feed_exponent_se: float | None
    depth_exponent_se: float | None
    residual_deviation: float
    shape: float | None
    explained_share: float | None
    holds: CurveRange
    told: dict[str, bool]
    notes: tuple[str, ...]
    mean_cut: tuple[float, float | None, float | None]
    _law: str
    _used: Bools
    _fit: LifeRegression

    def life_at(
        self,
        cutting_speed_m_min: float,
        feed_mm_rev: float | None = None,
        depth_mm: float | None = None,
    ) -> LifeAtCut:
        """Life of a new edge at a cut, and what of the cut lies outside the range.

        Where left out or not determined, feed and depth are the lives' own means. The band
        joins the scatter of edges and the uncertainty of the constants in quadrature (an
        approximation).

        Raises:
            OutsideModel: A speed, feed or depth that is not above 0.
        """
        asked = (cutting_speed_m_min, feed_mm_rev, depth_mm)
        logs = []
        for value, mean in zip(asked, self.mean_cut, strict=True):
            if value is None or mean is None:
                logs.append(0.0)
                continue
            if not (math.isfinite(value) and value > 0):
                raise OutsideModel(
                    sentence("A cut's speed, feed and depth have to be above 0.")
                )
            logs.append(math.log(value / mean))
        fit = self._fit
        x = np.append(1.0, -np.array(logs)[self._used])
        middle = _WEIBULL_MEDIAN if self._law == "weibull" else 0.0
        ln_life = float(x @ fit.beta) + fit.sigma * middle
        slope = np.append(x, fit.sigma * middle)
        unsure = TENTH**2 * float(slope @ fit.covariance @ slope)
        low, high = (fit.sigma * (tail - middle) for tail in _TAILS[self._law])
        return LifeAtCut(
            _exp(ln_life),
            _exp(ln_life - math.hypot(low, unsure**0.5)),
            _exp(ln_life + math.hypot(high, unsure**0.5)),
            self.holds.outside(*asked),
        )


def spread_out(values: NDArray[np.generic], used: Bools) -> Floats:
    """Values of the columns in use at the places of speed, feed and depth; 0 elsewhere."""
    found = np.zeros(3)
    found[used] = values
    return found


def estimate_of_fit(
    tests: LifeTests,
    fit: LifeRegression,
    used: Bools,
    told: Bools,
    notes: tuple[str, ...],
    law: str,
    reference_feed_mm_rev: float | None,
    reference_depth_mm: float | None,
) -> ConstantsEstimate:
    """Constants and standard errors from powers and level, by the delta method.

    Args:
        tests: The lives.
        fit: Their regression on ones and minus ``log_cut`` of the columns in use.
        used: Which of speed, feed and depth are in it, shape (3,).
        told: Which exponents the lives determined, shape (3,).
        notes: Sentences for the reader.
        law: ``weibull`` or ``lognormal``.
        reference_feed_mm_rev: Feed at which C shall hold.
        reference_depth_mm: Depth at which C shall hold.

    Raises:
        OutsideModel: A C that no tool has.
    """
    middle = _WEIBULL_MEDIAN if law == "weibull" else 0.0
    p, q, r = spread_out(fit.beta[1:], used).tolist()
    mean_cut = tests.mean_cut()
    away = [
        math.log((reference or 1.0) / mean) if mean is not None and use else 0.0
        for reference, mean, use in zip(
            (None, reference_feed_mm_rev, reference_depth_mm), mean_cut, used, strict=True
        )
    ]
    level = float(fit.beta[0]) + fit.sigma * middle - q * away[1] - r * away[2]
    ln_c = math.log(mean_cut[0]) + level / p
    if not math.log(0.1) <= ln_c <= math.log(1e5):
        raise OutsideModel(
            sentence(
                "These lives ask for {exp} m/min at a life of one minute; no tool has "
                "that. Check the unit of the lives (minutes in cut) and the reference "
                "feed and depth.",
                exp=figure(_exp(ln_c), ".3g"),
            ),
            errors=[
                {
                    "field": "tests",
                    "detail": sentence("C would lie outside 0.1 to 100000 m/min"),
                }
            ],
        )
    # slopes of n, ln C, a, b along (level, powers in use, ln sigma)
    columns = [0, *(1 + np.flatnonzero(used)), 4]
    slopes = np.array(
        [
            [0, -1 / p**2, 0, 0, 0],
            [1 / p, -level / p**2, -away[1] / p, -away[2] / p, fit.sigma * middle / p],
            [0, -q / p**2, 1 / p, 0, 0],
            [0, -r / p**2, 0, 1 / p, 0],
        ]
    )[:, columns]
    error = np.sqrt(np.einsum("ij,jk,ik->i", slopes, fit.covariance, slopes)).tolist()
    c = math.exp(ln_c)
    logs = np.log(tests.life_min)
    spread = float(((logs - logs.mean()) ** 2).sum())
    whole = law == "lognormal" and bool(tests.ended.all() and told[used].all()) and spread > 0
    return ConstantsEstimate(
        TaylorConstants(1 / p, c, q / p, r / p, reference_feed_mm_rev, reference_depth_mm),
        error[0],
        c * error[1],
        error[2] if used[1] else None,
        error[3] if used[2] else None,
        fit.sigma * (_WEIBULL_SD if law == "weibull" else 1.0),
        1 / fit.sigma if law == "weibull" else None,
        1 - float(fit.residuals @ fit.residuals) / spread if whole else None,
        tests.range(),
        dict(zip(_NAMES, told.tolist(), strict=True)),
        notes,
        mean_cut,
        law,
        used,
        fit,
    )


def _exp(value: float) -> float:
    return math.exp(min(max(value, -300.0), 300.0))
