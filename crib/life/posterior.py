"""Posterior of wear-out: pooled scales, shapes on a grid, then each key's closed form."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import digamma

from crib.life.conjugate import posterior_moments, rate_from_moments
from crib.life.curves import Curves, mixture_curves
from crib.life.observations import WORN, Ints, LifeHistories, per_key
from crib.life.pooling import Hierarchy, KeyTable, Lives
from crib.life.taylor import Floats

SHAPES: Final[Floats] = np.geomspace(1.5, 8.0, 12)
"""Weibull shapes considered; below 1.5 wear would hardly be wear, above 8 hardly chance."""

# Wear-out of cutting edges usually has a shape of 2 to 5: common practice, no source.
_SHAPE_CENTRE, _SHAPE_SD = 3.0, 0.45
_SHAPE_BETWEEN_KEYS = 0.15
_SHAPE_CLASS_WORTH = 20.0


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of each key's wear-out.

    Attributes:
        counts: Lives censored, worn, broken, shape (keys, 3).
        oldest: Oldest age seen [wear units], shape (keys,).
        lean_mean: ln scale as like keys say it, shape (keys,).
        weights: Weights of ``SHAPES``, shape (keys, shapes).
        a: Closed form ``S(x) = (b / (b + x^k))^a``, shape (keys, shapes).
        log_b: Likewise.
    """

    counts: Ints
    oldest: Floats
    lean_mean: Floats
    weights: Floats
    a: Floats
    log_b: Floats

    def curves(self, rows: Ints) -> Curves:
        """Life curves of some keys, breakage apart."""
        return mixture_curves(SHAPES, self.weights[rows], self.a[rows], self.log_b[rows])

    def law(self, rows: Ints, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Weibull shape and scale at the means of their logarithms, arrays of ``shape``."""
        weights = self.weights[rows]
        # theta^-k ~ Gamma(a, b), so ln theta = -ln(theta^-k) / k.
        log_scale = (self.log_b[rows] - digamma(self.a[rows])) / SHAPES
        means = (np.sum(weights * logs, axis=1) for logs in (np.log(SHAPES), log_scale))
        law = [np.exp(mean).reshape(shape) for mean in means]
        return law[0], law[1]


def promised_curves(keys: KeyTable, rows: Ints) -> Curves:
    """Life curves of some keys as if no life had been seen anywhere."""
    weights = np.tile(_widened(_normalised(_shape_prior()[None, :])), (len(rows), 1))
    a, log_b = np.empty_like(weights), np.empty_like(weights)
    for s, shape in enumerate(SHAPES):
        a[:, s], log_b[:, s] = rate_from_moments(
            keys.prior_mean[rows], keys.prior_sd[rows] ** 2, float(shape)
        )
    return mixture_curves(SHAPES, weights, a, log_b)


def fit_posterior(keys: KeyTable, lives: LifeHistories) -> Posterior:
    """Fit all keys to believable lives."""
    size, key = len(keys), lives.key_index
    counts = np.stack(
        [np.bincount(key[lives.ended == end], minlength=size) for end in (0, 1, 2)], axis=1
    )
    oldest = np.zeros(size)
    np.maximum.at(oldest, key, lives.wear)
    lean, evidence, a, log_b = _fit_scales(keys, lives, counts)
    group = np.unique(
        keys.grade * (keys.operation.max(initial=0) + 1) + keys.operation, return_inverse=True
    )[1].reshape(-1)
    weights = _shape_weights(evidence, group, counts[:, WORN].astype(np.float64))
    return Posterior(counts, oldest, lean, weights, a, log_b)


def _shape_prior() -> Floats:
    """Log weights of the shapes before any life."""
    return -0.5 * (np.log(SHAPES / _SHAPE_CENTRE) / _SHAPE_SD) ** 2


def _fit_scales(
    keys: KeyTable, lives: LifeHistories, counts: Ints
) -> tuple[Floats, Floats, Floats, Floats]:
    """Pooled priors, then each key's closed form at every shape."""
    size, many = len(keys), len(SHAPES)
    if not size:
        nothing = np.zeros((0, many))
        return np.zeros(0), nothing, nothing, nothing
    hierarchy = Hierarchy(keys)
    worn = counts[:, WORN].astype(np.float64)
    log_x = np.log(np.maximum(lives.wear, 1e-12)) - keys.prior_mean[lives.key_index]
    ended = lives.ended == WORN
    sum_log = per_key(lives.key_index[ended], log_x[ended], size)
    seen = counts.sum(axis=1) > 0
    evidence, a, log_b = (np.zeros((size, many)) for _ in range(3))
    # From a middling shape upwards and downwards, each starts from its neighbour's priors.
    middle = int(np.argmax(_shape_prior()))
    settled = copy(hierarchy)
    for s in [*range(middle, many), *range(middle - 1, -1, -1)]:
        if s == middle - 1:
            hierarchy = copy(settled)
        shape = float(SHAPES[s])
        power_sum = per_key(lives.key_index, np.exp(shape * log_x), size)
        with np.errstate(divide="ignore"):
            powers = np.log(power_sum)
        hierarchy.learn(Lives(worn, powers, seen), shape, rounds=6 if s == middle else 1)
        if s == middle:
            settled = copy(hierarchy)
        mean, variance = hierarchy.mean.copy(), hierarchy.variance.copy()
        after = posterior_moments(mean[seen], variance[seen], worn[seen], powers[seen], shape)
        mean[seen], variance[seen] = after.mean, after.variance
        evidence[seen, s] = after.log_evidence + (
            worn[seen] * np.log(shape) + (shape - 1) * sum_log[seen]
        )
        a[:, s], log_b[:, s] = rate_from_moments(mean + keys.prior_mean, variance, shape)
    return keys.prior_mean + settled.mean, evidence, a, log_b


def _shape_weights(evidence: Floats, group: Ints, worn: Floats) -> Floats:
    """Posterior weights of the shapes per key, shape (keys, shapes).

    A key leans on its class, and a class on the shop (as much as about twenty worn edges);
    between keys of a class the shape may differ, so the class's opinion is widened first.
    """
    classes = int(group.max(initial=0)) + 1
    by_class = np.zeros((classes, evidence.shape[1]))
    np.add.at(by_class, group, evidence)
    everything = evidence.sum(axis=0)
    elsewhere = np.maximum(worn.sum() - per_key(group, worn, classes), 1e-9)
    worth = np.minimum(1.0, _SHAPE_CLASS_WORTH / elsewhere)
    pooled = _shape_prior() + worth[:, None] * (everything - by_class) + by_class
    opinion = _normalised(pooled[group] - evidence)
    widened = _widened(opinion)
    return _normalised(np.log(np.maximum(widened, 1e-300)) + evidence)


def _widened(weights: Floats) -> Floats:
    """Weights of a class as those of one of its keys, whose shape may differ a little."""
    distance = np.subtract.outer(np.log(SHAPES), np.log(SHAPES)) / _SHAPE_BETWEEN_KEYS
    blur = np.exp(-0.5 * distance**2)
    result: Floats = weights @ (blur / blur.sum(axis=0)).T
    return result


def _normalised(log_weights: Floats) -> Floats:
    top = log_weights - log_weights.max(axis=1, keepdims=True)
    weights = np.exp(top)
    result: Floats = weights / weights.sum(axis=1, keepdims=True)
    return result
