"""Scales of all keys at every shape: pooled priors, then each key's closed form."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.conjugate import posterior_moments, rate_from_moments
from crib.life.evidence import Sums
from crib.life.law import SHAPES
from crib.life.lots import Cells, KeySums, key_sums, lot_variance
from crib.life.pooling import Hierarchy, KeyTable, Lives
from crib.life.shapes import shape_prior


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
        log_b: Same shape.
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

    def empty_like(self) -> list[Floats]:
        """Copies of the tables that lives change."""
        names = ("worn", "powers", "evidence", "scale", "spread", "a", "log_b")
        return [getattr(self, name).copy() for name in names]


def fit_scales(keys: KeyTable, cells: Cells, sums: Sums, seen: Bools) -> Scales:
    """Pool all keys at every shape, and close each key's own form.

    Args:
        keys: The key table.
        cells: Boxes.
        sums: What lives say of them.
        seen: Keys with any life.
    """
    size, many = len(keys), len(SHAPES)
    mean, variance = np.zeros((size, many)), np.zeros((size, many))
    tables = [np.zeros((size, many)) for _ in range(7)]
    if not size:
        return Scales(cells, sums, 0.0, np.zeros(0), mean, variance, *tables)
    # From a middling shape upwards and downwards, each starts from its neighbour's priors.
    middle = int(np.argmax(shape_prior()))
    between = lot_variance(sums, cells, size, middle, float(SHAPES[middle]))
    hierarchy = Hierarchy(keys)
    settled = copy(hierarchy)
    for s in [*range(middle, many), *range(middle - 1, -1, -1)]:
        if s == middle - 1:
            hierarchy = copy(settled)
        shape = float(SHAPES[s])
        own = key_sums(sums, cells, size, s, shape, between)
        with np.errstate(divide="ignore"):
            log_powers = np.log(own.powers)
        rounds = 6 if s == middle else 1
        hierarchy.learn(Lives(own.worn, log_powers, seen), shape, rounds)
        if s == middle:
            settled = copy(hierarchy)
        mean[:, s], variance[:, s] = hierarchy.mean, hierarchy.variance
        closed = _close(keys.prior_mean, mean[:, s], variance[:, s], own, seen, shape, between)
        for table, column in zip(tables, closed, strict=True):
            table[:, s] = column
    return Scales(cells, sums, between, settled.mean, mean, variance, *tables)


def add_to_scales(
    scales: Scales, promise: Floats, cells: Cells, sums: Sums, rows: Ints
) -> Scales:
    """Close some keys' forms again after lives were added to their sums; priors stay.

    Args:
        scales: What was known before.
        promise: ln of the promised life, shape (keys,).
        cells: All boxes.
        sums: Their sums, new lives in.
        rows: Keys that have new lives.
    """
    tables = scales.empty_like()
    place = np.full(len(promise), -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    some = np.flatnonzero(place[cells.key] >= 0)
    boxes = Cells(
        np.empty(0, dtype=np.int64),
        place[cells.key[some]],
        cells.code[some],
        cells.lots,
        cells.shared,
    )
    of_them = Sums(sums.worn[some], sums.powers[some], sums.constant[some])
    for s, value in enumerate(SHAPES):
        shape = float(value)
        own = key_sums(of_them, boxes, len(rows), s, shape, scales.lot_variance)
        closed = _close(
            promise[rows],
            scales.mean[rows, s],
            scales.variance[rows, s],
            own,
            np.ones(len(rows), dtype=np.bool_),
            shape,
            scales.lot_variance,
        )
        for table, column in zip(tables, closed, strict=True):
            table[rows, s] = column
    worn, powers, evidence, scale, spread, a, log_b = tables
    return replace(
        scales,
        cells=cells,
        sums=sums,
        worn=worn,
        powers=powers,
        evidence=evidence,
        scale=scale,
        spread=spread,
        a=a,
        log_b=log_b,
    )


def _close(
    promise: Floats,
    mean: Floats,
    variance: Floats,
    own: KeySums,
    seen: Bools,
    shape: float,
    between: float,
) -> tuple[Floats, ...]:
    """``worn``, ``powers``, ``evidence``, ``scale``, ``spread``, ``a`` and ``ln b``."""
    centre, spread = mean.copy(), variance.copy()
    with np.errstate(divide="ignore"):
        log_powers = np.log(own.powers[seen])
    after = posterior_moments(centre[seen], spread[seen], own.worn[seen], log_powers, shape)
    centre[seen], spread[seen] = after.mean, after.variance
    evidence = np.zeros(len(mean))
    evidence[seen] = after.log_evidence + own.constant[seen]
    a, log_b = rate_from_moments(centre + promise, spread + between, shape)
    return own.worn, own.powers, evidence, centre, spread, a, log_b
