"""Scales of all keys under every law: pooled priors, then each key's closed form."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.evidence import Sums
from crib.life.forms import Form, Terms
from crib.life.law import FORMS, LOG_MEDIAN
from crib.life.lots import Cells, key_sums, lot_variance
from crib.life.pooling import Hierarchy, KeyTable, Lives


@dataclass(frozen=True, slots=True)
class Scales:
    """Scales under every law, arrays of shape (keys, laws) unless said otherwise.

    Attributes:
        cells: Boxes.
        sums: Their sums, shape (cells, laws).
        lot_variance: Variance of ln life between boxes.
        middle: The law that all keys were pooled under.
        lean: Prior mean of ln scale over the promise from like keys, under that law; (keys,).
        variance: Its variance, shape (keys,).
        first: Sums of the key, boxes tempered.
        second: Likewise.
        evidence: ln marginal likelihood.
        scale: Posterior mean of ln scale over the promise.
        spread: Its variance, boxes apart.
        one: Parameters of the life of an edge out of a new box (``Form.ahead``).
        two: Likewise.
    """

    cells: Cells
    sums: Sums
    lot_variance: float
    middle: int
    lean: Floats
    variance: Floats
    first: Floats
    second: Floats
    evidence: Floats
    scale: Floats
    spread: Floats
    one: Floats
    two: Floats

    def prior(self, rows: Ints | slice, s: int) -> tuple[Floats, Floats]:
        """Mean and variance of some keys' ln scale over the promise under a law.

        What like keys say is how long edges usually last; that holds under every law.
        """
        usual = self.lean[rows] + LOG_MEDIAN[self.middle]
        return usual - LOG_MEDIAN[s], self.variance[rows]

    def empty_like(self) -> list[Floats]:
        """Copies of the tables that lives change."""
        return [getattr(self, name).copy() for name in _CHANGED]


_CHANGED: Final = ("first", "second", "evidence", "scale", "spread", "one", "two")


def fit_scales(
    keys: KeyTable,
    cells: Cells,
    sums: Sums,
    seen: Bools,
    hierarchy: Hierarchy,
    middle: int,
    rounds: int,
    proven: Bools | None = None,
) -> Scales:
    """Pool all keys, and close each key's own form under every law.

    Args:
        keys: The key table.
        cells: Boxes.
        sums: What lives say of them.
        seen: Keys with any life.
        hierarchy: What keys have in common, gone on from.
        middle: The law that all keys are pooled under.
        rounds: Rounds of messages between the keys.
        proven: Keys from which to learn how much effects differ; None: that stays.
    """
    size, many = len(keys), len(FORMS)
    tables = [np.zeros((size, many)) for _ in _CHANGED]
    if not size:
        return Scales(cells, sums, 0.0, middle, np.zeros(0), np.zeros(0), *tables)
    between = lot_variance(sums, cells, size)
    of_keys = key_sums(sums, cells, size, middle, between)
    if proven is not None:
        hierarchy.learn(Lives(FORMS[middle], of_keys, proven), rounds)
    hierarchy.learn(Lives(FORMS[middle], of_keys, seen), rounds, spreads=False)
    found = Scales(cells, sums, between, middle, hierarchy.mean, hierarchy.variance, *tables)
    for s, form in enumerate(FORMS):
        own = of_keys if s == middle else key_sums(sums, cells, size, s, between)
        prior = found.prior(slice(None), s)
        closed = _close(form, keys.prior_mean, prior, own, seen, between)
        for table, column in zip(tables, closed, strict=True):
            table[:, s] = column
    return found


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
        np.empty(0, dtype=np.int64),
        place[cells.key[some]],
        cells.code[some],
        cells.lots,
        cells.still[some],
        cells.shared,
    )
    of_them = Sums(sums.first[some], sums.second[some], sums.constant[some])
    for s, form in enumerate(FORMS):
        own = key_sums(of_them, boxes, len(rows), s, scales.lot_variance)
        closed = _close(
            form,
            promise[rows],
            scales.prior(rows, s),
            own,
            np.ones(len(rows), dtype=np.bool_),
            scales.lot_variance,
        )
        for table, column in zip(tables, closed, strict=True):
            table[rows, s] = column
    changed: dict[str, Any] = dict(zip(_CHANGED, tables, strict=True))
    return replace(scales, cells=cells, sums=sums, **changed)


def _close(
    form: Form,
    promise: Floats,
    prior: tuple[Floats, Floats],
    own: Terms,
    seen: Bools,
    between: float,
) -> tuple[Floats, ...]:
    """The tables that lives change, in the order of ``_CHANGED``; shape (keys,) each."""
    centre, spread = (column.copy() for column in prior)
    after = form.after(centre[seen], spread[seen], own.first[seen], own.second[seen])
    centre[seen], spread[seen] = after.mean, after.variance
    evidence = np.zeros(len(promise))
    evidence[seen] = after.log_evidence + own.constant[seen]
    one, two = form.ahead(centre + promise, spread + between)
    return own.first, own.second, evidence, centre, spread, one, two
