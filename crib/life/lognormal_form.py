"""The lognormal law with a fixed deviation: ``ln L`` of lives is ``c + n u - t u^2 / 2``.

u is the ln median. A worn life adds ``1 / sd^2`` to t and ``ln x / sd^2`` to n (``first`` and
``second`` of the sums), exactly; an edge taken out early is matched at the law known so far.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr, ndtri_exp

from crib.arrays import Floats
from crib.life.conjugate import Moments
from crib.life.forms import Plain, Terms, of_survivors

_LOG_ROOT = 0.5 * float(np.log(2 * np.pi))
#: Deviation of the logarithm of a Weibull life at shape 1.
_WEIBULL_SD = float(np.pi / np.sqrt(6))


@dataclass(frozen=True, slots=True)
class LognormalForm:
    """``S(w) = Phi(-w / sd)``.

    Attributes:
        sd: Deviation of ln life.
    """

    sd: float

    @property
    def steepness(self) -> float:
        """``pi / sqrt(6) / sd``."""
        return _WEIBULL_SD / self.sd

    @property
    def log_median(self) -> float:
        """The scale is the median."""
        return 0.0

    def log_alive(self, w: Floats) -> Floats:
        """``ln Phi(-w / sd)``."""
        result: Floats = log_ndtr(-w / self.sd)
        return result

    def log_density(self, w: Floats) -> Floats:
        """The normal law's."""
        result: Floats = -0.5 * (w / self.sd) ** 2 - np.log(self.sd) - _LOG_ROOT
        return result

    def score(self, w: Floats) -> Floats:
        """``w / sd^2``."""
        return w / self.sd**2

    def bend(self, w: Floats) -> Floats:
        """``1 / sd^2``."""
        return np.full_like(w, self.sd**-2)

    def at_end(self, log_scale: Floats) -> Floats:
        """Nine deviations out."""
        return log_scale + 9 * self.sd

    def plain(self, lives: Plain, log_scale: Floats) -> Terms:
        """Sums and squares of worn lives; survivors one by one."""
        cell, cells, z = lives.cell, lives.cells, lives.log_age
        precision = self.sd**-2

        def per_cell(rows: Floats) -> Floats:
            return np.bincount(cell, rows, cells).astype(np.float64)

        worn, sums = per_cell(lives.worn), per_cell(lives.worn * z)
        squares = per_cell(lives.worn * z**2)
        first, second = worn * precision, sums * precision
        constant = -0.5 * squares * precision - worn * (np.log(self.sd) + _LOG_ROOT)
        some = np.flatnonzero(lives.weight > lives.worn)
        u = log_scale[some]
        weight = (lives.weight - lives.worn)[some]
        terms = self.matched(*of_survivors(self, z[some] - u), u)
        for total, term in zip((first, second, constant), terms, strict=True):
            total += np.bincount(cell[some], weight * term, cells)
        return Terms(first, second, constant)

    def matched(self, value: Floats, slope: Floats, bend: Floats, log_scale: Floats) -> Terms:
        """A parabola through the value, with that slope and curvature."""
        n = slope + bend * log_scale
        return Terms(bend, n, value - n * log_scale + 0.5 * bend * log_scale**2)

    def after(self, mean: Floats, variance: Floats, first: Floats, second: Floats) -> Moments:
        """Normal prior times normal likelihood."""
        precision = 1 / variance + first
        centre = (mean / variance + second) / precision
        top = 0.5 * centre**2 * precision - 0.5 * mean**2 / variance
        return Moments(centre, 1 / precision, top - 0.5 * np.log(variance * precision))

    def tempered(self, sums: Terms, variance: Floats | float) -> Terms:
        """The cells' spread added to the variance of each cell's likelihood: exact."""
        t, n, constant = sums
        damp = 1 + t * variance
        gain = 0.5 * n**2 * variance / damp - 0.5 * np.log(damp)
        return Terms(t / damp, n / damp, constant + gain)

    def less(self, whole: Terms, part: Terms) -> tuple[Floats, Floats]:
        """A precision cannot be below 0."""
        return np.maximum(whole.first - part.first, 0.0), whole.second - part.second

    def ahead(self, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
        """Mean and deviation of ln life: what is not known of the median adds to it."""
        return mean, np.sqrt(variance + self.sd**2)

    def hazard_ahead(self, log_age: Floats, one: Floats, two: Floats) -> Floats:
        """``-ln Phi((mean - ln x) / deviation)``."""
        result: Floats = -log_ndtr((one - log_age) / two)
        return result

    def hazard_below(self, log_age: Floats, hazard: Floats, one: float, two: float) -> Floats:
        """The ln median is normal; the hazard falls with it."""
        least = log_age[:, None] + self.sd * ndtri_exp(-hazard)
        result: Floats = ndtr((one - least) / max(two**2 - self.sd**2, 1e-12) ** 0.5)
        return result

    def log_median_ahead(self, one: Floats, two: Floats) -> Floats:
        """The mean of ln life."""
        return one
