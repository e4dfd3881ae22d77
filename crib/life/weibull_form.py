"""Weibull's law with a fixed shape: ``ln L`` of lives is ``d ln rate - b rate + c``.

With shape k and rate ``L = exp(-k u)`` a worn life adds 1 to d and ``x^k`` to b, one taken out
early ``x^k`` to b (``first`` and ``second`` of the sums): exact under censoring.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammainc, gammaln

from crib.arrays import Floats
from crib.life.conjugate import Moments, posterior_moments, rate_from_moments
from crib.life.forms import Plain, Terms

_LOG_LOG_2 = float(np.log(np.log(2)))


@dataclass(frozen=True, slots=True)
class WeibullForm:
    """``S(w) = exp(-exp(k w))``.

    Attributes:
        shape: k.
    """

    shape: float

    @property
    def steepness(self) -> float:
        """The shape itself."""
        return self.shape

    @property
    def log_median(self) -> float:
        """``ln ln 2 / k``."""
        return _LOG_LOG_2 / self.shape

    def _hazard(self, w: Floats) -> Floats:
        q: Floats = np.exp(np.clip(self.shape * w, -600.0, 50.0))
        return q

    def log_alive(self, w: Floats) -> Floats:
        """``-e^(k w)``."""
        return -self._hazard(w)

    def log_density(self, w: Floats) -> Floats:
        """``ln k + k w - e^(k w)``."""
        result: Floats = np.log(self.shape) + self.shape * w - self._hazard(w)
        return result

    def score(self, w: Floats) -> Floats:
        """``k (e^(k w) - 1)``."""
        return self.shape * (self._hazard(w) - 1)

    def bend(self, w: Floats) -> Floats:
        """``k^2 e^(k w)``."""
        return self.shape**2 * self._hazard(w)

    def at_end(self, log_scale: Floats) -> Floats:
        """Where 40 failures were to be expected."""
        result: Floats = log_scale + np.log(40.0) / self.shape
        return result

    def plain(self, lives: Plain, log_scale: Floats) -> Terms:
        """Sums of powers; they hang on no scale."""
        worn = np.bincount(lives.cell, lives.worn, lives.cells).astype(np.float64)
        power = np.exp(self.shape * lives.log_age)
        power *= lives.weight
        logs = np.bincount(lives.cell, lives.worn * lives.log_age, lives.cells)
        return Terms(
            worn,
            np.bincount(lives.cell, power, lives.cells).astype(np.float64),
            np.log(self.shape) * worn + self.shape * logs,
        )

    def matched(self, value: Floats, slope: Floats, bend: Floats, log_scale: Floats) -> Terms:
        """``L b`` from the curvature, d from the slope."""
        fall = slope / self.shape
        # Never less than no worn edge: then the curvature gives way, the slope stays.
        d = np.maximum(bend / self.shape**2 - fall, 0.0)
        reach = np.maximum(d + fall, 0.0)
        return Terms(
            d,
            reach * np.exp(self.shape * log_scale),
            value + d * self.shape * log_scale + reach,
        )

    def after(self, mean: Floats, variance: Floats, first: Floats, second: Floats) -> Moments:
        """By quadrature about the mode (``crib.life.conjugate``)."""
        with np.errstate(divide="ignore"):
            return posterior_moments(mean, variance, first, np.log(second), self.shape)

    def weight(self, first: Floats, variance: Floats | float) -> Floats:
        """Weight of a cell's likelihood towards its key.

        It has precision ``k^2 d`` at its mode; with the cells' spread added to that variance
        it has that of the same likelihood at the power ``1 / (1 + k^2 d variance)``.
        """
        result: Floats = 1 / (1 + self.shape**2 * first * variance)
        return result

    def tempered(self, sums: Terms, variance: Floats | float) -> Terms:
        """The sums at that weight.

        Over cells ``x^k`` is larger by ``exp(k^2 variance / 2)`` on average than in the
        middling one; the power alone would leave that in and make the key's life too long.
        """
        d, b, constant = sums
        weight = self.weight(d, variance)
        less_d = weight * d
        less_b = weight * b * np.exp(-0.5 * (1 - weight) * self.shape**2 * variance)
        constant = constant.copy()
        rows = np.flatnonzero((weight < 1) & (b > 0))
        # Spreading a likelihood of ln scale leaves its integral as it was.
        constant[rows] += gammaln(d[rows]) - d[rows] * np.log(b[rows])
        constant[rows] -= gammaln(less_d[rows]) - less_d[rows] * np.log(less_b[rows])
        return Terms(less_d, less_b, constant)

    def less(self, whole: Terms, part: Terms) -> tuple[Floats, Floats]:
        """Neither can be below 0."""
        first = np.maximum(whole.first - part.first, 0.0)
        return first, np.maximum(whole.second - part.second, 0.0)

    def ahead(self, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
        """``a`` and ``ln b`` of ``S(x) = (b / (b + x^k))^a``."""
        return rate_from_moments(mean, variance, self.shape)

    def hazard_ahead(self, log_age: Floats, one: Floats, two: Floats) -> Floats:
        """``a ln(1 + x^k / b)``."""
        power = np.minimum(self.shape * log_age - two, 600)
        result: Floats = one * np.log1p(np.exp(power, out=power))
        return result

    def hazard_below(self, log_age: Floats, hazard: Floats, one: float, two: float) -> Floats:
        """The rate is ``Gamma(a, b)``, the hazard the rate times ``x^k``."""
        power = np.exp(np.clip(two - self.shape * log_age, -600, 600))
        result: Floats = gammainc(one, power[:, None] * hazard)
        return result

    def log_median_ahead(self, one: Floats, two: Floats) -> Floats:
        """``x^k = b (2^(1/a) - 1)``."""
        result: Floats = (two + np.log(np.expm1(np.minimum(np.log(2) / one, 500)))) / self.shape
        return result
