"""The forecast's closed forms for one key by itself, every record taken as one edge's life.

What the forecast does besides needs a shop: keys that lean on each other, boxes that differ,
looks at the wear, records that may be of two lives, breakage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crib.arrays import Bools, Floats
from crib.life.conjugate import posterior_moments, rate_from_moments
from crib.life.curves import Curves, Edges, ahead_for_hazard, mixture_curves
from crib.life.law import SHAPES
from crib.life.shapes import normalised, shape_prior, widened


@dataclass(frozen=True, slots=True)
class OneKey:
    """Posterior of one key's wear-out, in the unit of its lives.

    Attributes:
        shape: Weibull shape, at the mean of its logarithm.
        scale: Weibull scale, at the mean of its logarithm.
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

    The shape runs over the forecast's grid, weighted by prior times marginal likelihood; the
    scale has a normal prior on its logarithm about 0 (``crib.life.conjugate``).

    Args:
        ages: Ages reached over the promised life, above 0, shape (lives,).
        worn: True worn, False taken out early, shape (lives,).
        spread: Prior deviation of ln scale.
    """
    log_x, count = np.log(ages), np.array([float(worn.sum())])
    prior = np.zeros(1), np.array([spread**2])
    evidence, log_scale, a, log_b = (np.empty((1, len(SHAPES))) for _ in range(4))
    for s, shape in enumerate(map(float, SHAPES)):
        top = shape * float(log_x.max(initial=0.0))
        powers = np.array([top + np.log(np.sum(np.exp(shape * log_x - top)))])
        after = posterior_moments(*prior, count, powers, shape)
        evidence[:, s] = after.log_evidence + count * np.log(shape)
        evidence[:, s] += (shape - 1) * log_x[worn].sum()
        log_scale[:, s] = after.mean
        a[:, s], log_b[:, s] = rate_from_moments(after.mean, after.variance, shape)
    opinion = np.log(np.maximum(widened(normalised(shape_prior()[None, :])), 1e-300))
    weights = normalised(opinion + evidence)
    return OneKey(
        float(np.exp(weights[0] @ np.log(SHAPES))),
        float(np.exp(weights[0] @ log_scale[0])),
        mixture_curves(SHAPES, weights, a, log_b),
    )


def _edges(age: float, count: int) -> Edges:
    """Edges that only wear: no breakage beside."""
    nothing = np.zeros(count)
    row = np.zeros(count, dtype=np.int64)
    return Edges(row, np.full(count, age), nothing, nothing + 1, nothing)
