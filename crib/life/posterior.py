"""Posterior of wear-out: pooled scales, shapes on a grid, then each key's closed form."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.life.conjugate import posterior_moments, rate_from_moments
from crib.life.curves import Curves, mixture_curves
from crib.life.evidence import Sums, sums_of
from crib.life.law import SHAPES, Law
from crib.life.looks import Looks, learn_looks
from crib.life.lots import (
    Cells,
    KeySums,
    cell_moments,
    cells_of,
    key_sums,
    lot_variance,
    tempering,
)
from crib.life.observations import BROKEN, WORN, Ints, LifeHistories, per_key
from crib.life.pooling import Hierarchy, KeyTable, Lives
from crib.life.taylor import Floats
from crib.life.trust import log_habit, trust

Bools = NDArray[np.bool_]

# Wear-out of cutting edges usually has a shape of 2 to 5: common practice, no source.
_SHAPE_CENTRE, _SHAPE_SD = 3.0, 0.45
_SHAPE_BETWEEN_KEYS = 0.15
_STEEP, _STEEP_SD = 4.0, 0.2
_SHAPE_CLASS_WORTH = 20.0
_PASSES: Final = 2


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of each key's wear-out.

    Attributes:
        counts: Lives censored, worn, broken, shape (keys, 3).
        oldest: Oldest age seen [wear units], shape (keys,).
        promise: ln of the promised life, shape (keys,).
        looks: What looks at the wear are worth.
        weights: Weights of ``SHAPES``, shape (keys, shapes).
        scales: What the fit left of each key and box.
    """

    counts: Ints
    oldest: Floats
    promise: Floats
    looks: Looks
    weights: Floats
    scales: Scales

    @property
    def lean_mean(self) -> Floats:
        """Ln scale as like keys say it, shape (keys,)."""
        return self.promise + self.scales.lean

    def curves(self, rows: Ints) -> Curves:
        """Life curves of edges out of new boxes of some keys, breakage apart."""
        return mixture_curves(
            SHAPES, self.weights[rows], self.scales.a[rows], self.scales.log_b[rows]
        )

    def law(self, rows: Ints, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Weibull shape and scale at the means of their logarithms, arrays of ``shape``."""
        weights = self.weights[rows]
        log_scale = self.scales.scale[rows] + self.promise[rows, None]
        means = (np.sum(weights * logs, axis=1) for logs in (np.log(SHAPES), log_scale))
        law = [np.exp(mean).reshape(shape) for mean in means]
        return law[0], law[1]

    def cell_curves(self, cells: Ints) -> Curves:
        """Life curves of edges out of boxes that have shown lives, breakage apart."""
        scales, boxes = self.scales, self.scales.cells
        key = boxes.key[cells]
        a, log_b = (np.empty((len(cells), len(SHAPES))) for _ in range(2))
        for s, shape in enumerate(SHAPES):
            weight = tempering(scales.sums, boxes, s, float(shape), scales.lot_variance)
            mean, variance = cell_moments(
                (scales.mean[key, s], scales.variance[key, s]),
                (scales.sums.worn[cells, s], scales.sums.powers[cells, s], weight[cells]),
                (scales.worn[key, s], scales.powers[key, s]),
                float(shape),
                scales.lot_variance,
            )
            a[:, s], log_b[:, s] = rate_from_moments(
                mean + self.promise[key], variance, float(shape)
            )
        return mixture_curves(SHAPES, self.weights[key], a, log_b)


@dataclass(frozen=True, slots=True)
class Scales:
    """Scales at every shape, arrays of shape (keys, shapes) unless said otherwise.

    Attributes:
        cells: Boxes.
        sums: Their sums, shape (cells, shapes).
        lot_variance: Variance of ln life between boxes.
        lean: Prior mean of ln scale over the promise at a middling shape, shape (keys,).
        mean: Prior mean of ln scale over the promise from like keys.
        variance: Its variance.
        worn: Tempered ``d``.
        powers: Tempered ``b``.
        evidence: ln marginal likelihood.
        scale: Posterior mean of ln scale over the promise.
        spread: Its variance, boxes apart.
        a: Closed form ``S(x) = (b / (b + x^k))^a`` of an edge out of a new box.
        log_b: Likewise.
    """

    cells: Cells
    sums: Sums
    lot_variance: float
    lean: Floats
    mean: Floats
    variance: Floats
    worn: Floats
    powers: Floats
    evidence: Floats
    scale: Floats
    spread: Floats
    a: Floats
    log_b: Floats


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
    """Fit all keys to believable lives.

    A first rough law tells how far each record is to be trusted and what looks say; a second
    pass uses what the first one found.
    """
    size, key = len(keys), lives.key_index
    counts = np.stack(
        [np.bincount(key[lives.ended == end], minlength=size) for end in (0, 1, 2)], axis=1
    )
    oldest = np.zeros(size)
    np.maximum.at(oldest, key, lives.wear)
    group = np.unique(
        keys.grade * (keys.operation.max(initial=0) + 1) + keys.operation, return_inverse=True
    )[1].reshape(-1)
    cells, habit = cells_of(lives), log_habit(lives, size)
    law = _first_law(keys, lives)
    looks = learn_looks(lives, law)
    for _ in range(_PASSES):
        sums = sums_of(cells.of_life, len(cells), lives, trust(lives, law, habit), law, looks)
        scales = _fit_scales(keys, cells, sums, counts.sum(axis=1) > 0)
        weights = _shape_weights(scales.evidence, group, counts[:, WORN].astype(np.float64))
        law = Law(
            keys.prior_mean, scales.scale, weights, np.sum(weights * scales.spread, axis=1)
        )
        looks = learn_looks(lives, law)
    return Posterior(counts, oldest, keys.prior_mean, looks, weights, scales)


def _first_law(keys: KeyTable, lives: LifeHistories) -> Law:
    """A rough law from the flattest shape, to which one wrong record matters least."""
    size, flat = len(keys), float(SHAPES[0])
    # Steep, or a record of two lives would not stand out.
    steep = -0.5 * (np.log(SHAPES / _STEEP) / _STEEP_SD) ** 2
    weights = np.tile(_normalised(steep[None, :]), (size, 1))
    if not size:
        return Law(keys.prior_mean, np.zeros((0, len(SHAPES))), weights, np.zeros(0))
    age = np.where(lives.ended == BROKEN, lives.since, lives.wear)
    log_x = np.log(np.maximum(age, 1e-12)) - keys.prior_mean[lives.key_index]
    worn = per_key(lives.key_index, (lives.ended == WORN).astype(np.float64), size)
    powers = per_key(lives.key_index, np.exp(flat * log_x), size)
    seen = np.bincount(lives.key_index, minlength=size) > 0
    hierarchy = Hierarchy(keys)
    with np.errstate(divide="ignore"):
        log_powers = np.log(powers)
    hierarchy.learn(Lives(worn, log_powers, seen), flat, rounds=4)
    mean, variance = hierarchy.mean.copy(), hierarchy.variance.copy()
    after = posterior_moments(mean[seen], variance[seen], worn[seen], log_powers[seen], flat)
    mean[seen], variance[seen] = after.mean, after.variance
    log_median = mean + np.log(np.log(2)) / flat
    scale = log_median[:, None] - np.log(np.log(2)) / SHAPES
    return Law(keys.prior_mean, scale, weights, variance)


def _shape_prior() -> Floats:
    """Log weights of the shapes before any life."""
    return -0.5 * (np.log(SHAPES / _SHAPE_CENTRE) / _SHAPE_SD) ** 2


def _fit_scales(keys: KeyTable, cells: Cells, sums: Sums, seen: Bools) -> Scales:
    """Pooled priors, then each key's closed form at every shape."""
    size, many = len(keys), len(SHAPES)
    # From a middling shape upwards and downwards, each starts from its neighbour's priors.
    middle = int(np.argmax(_shape_prior()))
    tables = [np.zeros((size, many)) for _ in range(9)]
    mean, variance, worn, powers, evidence, scale, left, a, log_b = tables
    if not size:
        return Scales(cells, sums, 0.0, np.zeros(0), *tables)
    between = lot_variance(sums, cells, size, middle, float(SHAPES[middle]))
    hierarchy = Hierarchy(keys)
    settled = copy(hierarchy)
    for s in [*range(middle, many), *range(middle - 1, -1, -1)]:
        if s == middle - 1:
            hierarchy = copy(settled)
        shape = float(SHAPES[s])
        own: KeySums = key_sums(sums, cells, size, s, shape, between)
        with np.errstate(divide="ignore"):
            log_powers = np.log(own.powers)
        hierarchy.learn(
            Lives(own.worn, log_powers, seen), shape, rounds=6 if s == middle else 1
        )
        if s == middle:
            settled = copy(hierarchy)
        mean[:, s], variance[:, s] = hierarchy.mean, hierarchy.variance
        worn[:, s], powers[:, s] = own.worn, own.powers
        centre, spread = hierarchy.mean.copy(), hierarchy.variance.copy()
        after = posterior_moments(
            centre[seen], spread[seen], own.worn[seen], log_powers[seen], shape
        )
        centre[seen], spread[seen] = after.mean, after.variance
        evidence[seen, s] = after.log_evidence + own.constant[seen]
        scale[:, s], left[:, s] = centre, spread
        a[:, s], log_b[:, s] = rate_from_moments(
            centre + keys.prior_mean, spread + between, shape
        )
    return Scales(cells, sums, between, settled.mean, *tables)


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
