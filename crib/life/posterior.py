"""Posterior of wear-out: pooled scales, shapes on a grid, then each key's closed form."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.conjugate import posterior_moments, rate_from_moments
from crib.life.curves import Curves, mixture_curves
from crib.life.evidence import Sums, sums_of, told_by_looks
from crib.life.law import SHAPES, Law
from crib.life.looks import Looks, learn_looks
from crib.life.lots import cell_moments, cells_of, tempering
from crib.life.observations import BROKEN, WORN, LifeHistories, per_key
from crib.life.pooling import Hierarchy, KeyTable, Lives
from crib.life.scales import Scales, add_to_scales, fit_scales
from crib.life.shapes import class_opinion, normalised, shape_prior, widened
from crib.life.trust import Doubts, learn_doubts, learn_habit

_STEEP, _STEEP_SD = 3.0, 0.3
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
        law: The same in short, for judging new records.
        opinion: Log weights of each key's shapes as the others say, shape (keys, shapes).
        doubts: What gives away a record of two lives.
    """

    counts: Ints
    oldest: Floats
    promise: Floats
    looks: Looks
    weights: Floats
    scales: Scales
    law: Law
    opinion: Floats
    doubts: Doubts

    @property
    def lean_mean(self) -> Floats:
        """Ln scale as like keys say it, shape (keys,)."""
        return self.promise + self.scales.lean

    def curves(self, rows: Ints) -> Curves:
        """Life curves of edges out of new boxes of some keys, breakage apart."""
        return mixture_curves(
            SHAPES, self.weights[rows], self.scales.a[rows], self.scales.log_b[rows]
        )

    def shape_and_scale(self, rows: Ints, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Weibull shape and scale at the means of their logarithms, arrays of ``shape``."""
        weights = self.weights[rows]
        log_scale = self.scales.scale[rows] + self.promise[rows, None]
        means = (np.sum(weights * logs, axis=1) for logs in (np.log(SHAPES), log_scale))
        found = [np.exp(mean).reshape(shape) for mean in means]
        return found[0], found[1]

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

    def after(self, lives: LifeHistories) -> Posterior:
        """What is known after a few more believable lives.

        Takes the same time however many lives there were. What is shared between keys (their
        leaning on each other, what looks are worth, how common double records are) stays as it
        was; adding lives one by one or at once gives the same.
        """
        rows = np.unique(lives.key_index)
        counts, oldest = self.counts.copy(), self.oldest.copy()
        np.add.at(counts, (lives.key_index, lives.ended.astype(np.int64)), 1)
        np.maximum.at(oldest, lives.key_index, lives.wear)
        believed = self.doubts.belief(lives, self.law)
        cells, sums, cell = self.scales.cells.grown(
            lives, told_by_looks(lives, self.looks)[0], self.scales.sums
        )
        more = sums_of(cell, len(cells), lives, believed, self.law, self.looks)
        sums = Sums(
            sums.worn + more.worn, sums.powers + more.powers, sums.constant + more.constant
        )
        scales = add_to_scales(self.scales, self.promise, cells, sums, rows)
        weights = self.weights.copy()
        weights[rows] = normalised(self.opinion[rows] + scales.evidence[rows])
        return replace(self, counts=counts, oldest=oldest, scales=scales, weights=weights)


def promised_curves(keys: KeyTable, rows: Ints) -> Curves:
    """Life curves of some keys as if no life had been seen anywhere."""
    weights = np.tile(widened(normalised(shape_prior()[None, :])), (len(rows), 1))
    a, log_b = np.empty_like(weights), np.empty_like(weights)
    for s, shape in enumerate(SHAPES):
        a[:, s], log_b[:, s] = rate_from_moments(
            keys.prior_mean[rows], keys.prior_sd[rows] ** 2, float(shape)
        )
    return mixture_curves(SHAPES, weights, a, log_b)


def fit_posterior(keys: KeyTable, lives: LifeHistories) -> Posterior:
    """Fit all keys to believable lives.

    A first rough law shows how far each record is to be trusted and where looks and unseen
    failures point; a second pass uses what the first one found.
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
    seen, worn = counts.sum(axis=1) > 0, counts[:, WORN].astype(np.float64)
    law = _first_law(keys, lives)
    looks, habit = learn_looks(lives, size), learn_habit(lives, size)
    cells = cells_of(lives, told_by_looks(lives, looks)[0], looks.shared)
    for _ in range(_PASSES):
        doubts, belief = learn_doubts(lives, law, habit)
        sums = sums_of(cells.of_life, len(cells), lives, belief, law, looks)
        scales = fit_scales(keys, cells, sums, seen)
        opinion = class_opinion(scales.evidence, group, worn)
        weights = normalised(opinion + scales.evidence)
        law = Law(keys.prior_mean, scales.scale, weights)
    return Posterior(
        counts, oldest, keys.prior_mean, looks, weights, scales, law, opinion, doubts
    )


def _first_law(keys: KeyTable, lives: LifeHistories) -> Law:
    """A rough law from the flattest shape, to which one wrong record matters least."""
    size, flat = len(keys), float(SHAPES[0])
    # Steep, or a record of two lives would not stand out.
    steep = -0.5 * (np.log(SHAPES / _STEEP) / _STEEP_SD) ** 2
    weights = np.tile(normalised(steep[None, :]), (size, 1))
    if not size:
        return Law(keys.prior_mean, np.zeros((0, len(SHAPES))), weights)
    age = np.where(lives.ended == BROKEN, lives.since, lives.wear)
    log_x = np.log(np.maximum(age, 1e-12)) - keys.prior_mean[lives.key_index]
    worn = per_key(lives.key_index, (lives.ended == WORN).astype(np.float64), size)
    powers = per_key(lives.key_index, np.exp(flat * log_x), size)
    seen = np.bincount(lives.key_index, minlength=size) > 0
    hierarchy = Hierarchy(keys)
    with np.errstate(divide="ignore"):
        log_powers = np.log(powers)
    hierarchy.learn(Lives(worn, log_powers, seen), flat, rounds=4)
    mean, prior = hierarchy.mean.copy(), (hierarchy.mean[seen], hierarchy.variance[seen])
    mean[seen] = posterior_moments(*prior, worn[seen], log_powers[seen], flat).mean
    log_median = mean + np.log(np.log(2)) / flat
    scale = log_median[:, None] - np.log(np.log(2)) / SHAPES
    return Law(keys.prior_mean, scale, weights)
