"""The forecast's closed forms for one key by itself, every record taken as one edge's life.

What the forecast does besides needs a shop: keys that lean on each other, boxes that differ,
looks at the wear, records that may be of two lives, breakage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crib.arrays import Bools, Floats
from crib.life.curves import Curves, Edges, ahead_for_hazard, mixture_curves
from crib.life.forms import Plain
from crib.life.law import FORMS, steepness_of
from crib.life.shapes import law_prior, normalised, widened

#: Survivors are matched to the lognormal law until ln scale stands to within so much.
_ROUNDS, _STANDS = 20, 1e-4


@dataclass(frozen=True, slots=True)
class OneKey:
    """Posterior of one key's wear-out, in the unit of its lives.

    Attributes:
        shape: Weibull shape with the spread of the life, at the mean of its logarithm.
        scale: Weibull scale with its median.
    """

    shape: float
    scale: float
    _curves: Curves

    def remaining(self, age: float, probs: Floats) -> Floats:
        """Use left that a share ``probs`` of edges of this age does not reach."""
        edges = _edges(age, len(probs))
        return ahead_for_hazard(self._curves, edges, -np.log1p(-probs))

    def survival(self, age: float, ahead: Floats) -> Floats:
        """Chance that an edge of this age lives so much longer."""
        return np.exp(-_edges(age, len(ahead)).hazard_ahead(self._curves, ahead))


def fit_one_key(ages: Floats, worn: Bools, spread: float) -> OneKey:
    """Posterior from lives, exact under censoring.

    The law runs over the forecast's, weighted by prior times marginal likelihood; the scale
    has a normal prior on its logarithm about 0 (``crib.life.conjugate``).

    Args:
        ages: Ages reached over the promised life, above 0, shape (lives,).
        worn: True worn, False taken out early, shape (lives,).
        spread: Prior deviation of ln scale.
    """
    log_x, cell = np.log(ages), np.zeros(len(ages), dtype=np.int64)
    lives = Plain(cell, 1, log_x, worn.astype(np.float64), np.ones(len(ages)))
    mean, variance = np.zeros(1), np.array([spread**2])
    evidence, log_median, one, two = (np.empty((1, len(FORMS))) for _ in range(4))
    for s, form in enumerate(FORMS):
        scale = mean
        for _ in range(_ROUNDS):
            sums = form.plain(lives, scale[cell])
            after = form.after(mean, variance, sums.first, sums.second)
            moved, scale = np.abs(after.mean - scale), after.mean
            if moved < _STANDS:
                break
        evidence[:, s] = after.log_evidence + sums.constant
        log_median[:, s] = after.mean + form.log_median
        one[:, s], two[:, s] = form.ahead(after.mean, after.variance)
    opinion = np.log(np.maximum(widened(normalised(law_prior()[None, :])), 1e-300))
    weights = normalised(opinion + evidence)
    shape = float(steepness_of(weights)[0])
    return OneKey(
        shape,
        float(np.exp(weights[0] @ log_median[0] - np.log(np.log(2)) / shape)),
        mixture_curves(FORMS, weights, one, two),
    )


def _edges(age: float, count: int) -> Edges:
    """Edges that only wear: no breakage beside."""
    nothing = np.zeros(count)
    row = np.zeros(count, dtype=np.int64)
    return Edges(row, np.full(count, age), nothing, nothing + 1, nothing)
