"""The laws of life considered, and the law of every key as far as it is known.

A key's ln life less its ln scale follows one of a row of laws: Weibull's at several shapes,
whose chance of failing grows with age like a power, and the lognormal at several deviations,
which has less of an early tail and a longer late one. Where all edges are taken out early, only
the early part is ever seen. How long the others would have lasted then hangs on the kind of
law, so both kinds are in the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats
from crib.life.forms import Form
from crib.life.lognormal_form import LognormalForm
from crib.life.weibull_form import WeibullForm

SHAPES: Final[Floats] = np.geomspace(1.0, 18.0, 20)
"""Weibull shapes considered; below 1 wear would hardly be wear, above 18 hardly chance."""

SPREADS: Final[Floats] = np.geomspace(0.07, 0.85, 17)
"""Deviations of ln life considered for the lognormal law."""

FORMS: Final[tuple[Form, ...]] = (
    *(WeibullForm(float(shape)) for shape in SHAPES),
    *(LognormalForm(float(sd)) for sd in SPREADS),
)
"""All laws considered."""

KINDS: Final = (slice(0, len(SHAPES)), slice(len(SHAPES), len(FORMS)))
"""Where the laws of each kind lie."""

MIDDLING: Final = int(np.argmin(np.abs(np.log(SHAPES / 4.0))))
"""A Weibull's law in the middle."""

STEEPNESS: Final[Floats] = np.array([form.steepness for form in FORMS])
"""Weibull shape with the spread of ln life of each law."""

LOG_MEDIAN: Final[Floats] = np.array([form.log_median for form in FORMS])
"""ln median over scale of each law."""


def steepness_of(weights: Floats) -> Floats:
    """Weibull shape with the usual spread of each key, by its weights of the laws; (keys,)."""
    result: Floats = np.exp(weights @ np.log(STEEPNESS))
    return result


@dataclass(frozen=True, slots=True)
class Law:
    """Where each key's lives lie.

    Attributes:
        promise: ln of the promised life, shape (keys,).
        scale: ln scale over the promise under each law, shape (keys, laws).
        weights: Weights of the laws, shape (keys, laws).
        spread: Variance of ln scale under each law, shape (keys, laws).
        counts: Laws that any key with lives may follow, shape (laws,); under the others lives
            known in part are not worked out.
    """

    promise: Floats
    scale: Floats
    weights: Floats
    spread: Floats
    counts: Bools

    def usual(self) -> Floats:
        """Ln of the usual life of each key, the median, shape (keys,)."""
        middle: Floats = np.sum(self.weights * (self.scale + LOG_MEDIAN), axis=1)
        return middle + self.promise

    def steepness(self) -> Floats:
        """Weibull shape with the usual spread of each key, shape (keys,)."""
        return steepness_of(self.weights)

    def doubt(self) -> Floats:
        """Variance of the ln usual life of each key, shape (keys,)."""
        away = self.scale + LOG_MEDIAN - (self.usual() - self.promise)[:, None]
        result: Floats = np.sum(self.weights * (self.spread + away**2), axis=1)
        return result
