"""Edges that still cut: each tells its key that edges last at least as long as it has so far.

They enter as lives cut short at their present age. The forecast of such an edge is conditioned
on its own age already, so that there its own share is taken out, or it would count twice;
where it is little of what its key has seen, that is left alone.

Ages are rounded down, which only says a little less, so that a model is not made anew with
each part. What like keys say of each other is learned with them as long as the shop is young.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats, Ints
from crib.life.aside import Yardstick, too_old_to_run
from crib.life.evidence import Sums, sums_of
from crib.life.kept_curves import MOST_KEPT
from crib.life.lots import Cells
from crib.life.observations import LifeHistories, life_histories, per_key
from crib.life.pooling import KeyTable
from crib.life.posterior import Posterior
from crib.life.scales import Scales

#: Steps of age, as ln 2 over so many; below the least wear an edge tells nothing yet.
_STEPS: Final = 3
_LEAST_WEAR: Final = 0.25
#: An edge that is at most this share of its key's exposure is left in its own forecast.
LITTLE: Final = 1 / 20
_NO_ROWS: Final[Ints] = np.zeros(0, dtype=np.int64)
#: What rounding leaves of a sum that its only term was taken from.
_ROUNDING: Final = 1e-9


def counted_wear(wear: ArrayLike) -> Floats:
    """Wear by which running edges count, rounded down [wear units]; 0: they do not yet."""
    told = np.asarray(wear, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.floor(np.log2(told) * _STEPS + _ROUNDING)
        counted: Floats = np.where(told >= _LEAST_WEAR, np.exp2(step / _STEPS), 0.0)
    return counted


@dataclass(frozen=True, slots=True)
class Running:
    """Edges that still cut, as a model counts them.

    Attributes:
        lives: All of them, as lives cut short at the age that counts.
        counts: Which of them count, shape (edges,).
        much: Those that are more than a little of their key's exposure, same shape.
        doubted: Those too old to be believed until a person has looked, same shape.
        pooled: Whether keys learned of each other with them.
    """

    lives: LifeHistories
    counts: Bools
    much: Bools
    doubted: Bools
    pooled: bool = False

    def __len__(self) -> int:
        return len(self.lives)

    @property
    def rank(self) -> Ints:
        """Number of each among those of ``much``, shape (edges,); of no meaning for others."""
        return np.cumsum(self.much) - 1

    def own(self, own: Ints, rows: Ints) -> Ints:
        """Numbers of edges whose share is to be taken out of their own forecast, -1 for others.

        Args:
            own: Number of each edge asked for among the running ones, -1 if it is not.
            rows: Its key.
        """
        if not len(self.lives):
            return np.full(len(own), -1, dtype=np.int64)
        at = np.clip(own, 0, len(self.lives) - 1)
        out = (own >= 0) & (own < len(self.lives)) & self.much[at]
        return np.where(out & (self.lives.key_index[at] == rows), at, -1)


_NOTHING: Final[Bools] = np.zeros(0, dtype=np.bool_)
NO_RUNNING: Final = Running(life_histories([], [], [], []), _NOTHING, _NOTHING, _NOTHING)


def running_edges(
    lives: LifeHistories, measure: Yardstick, exposure: Floats, *, pooled: bool
) -> Running:
    """Which running edges count, and which have to be taken out of their own forecast.

    Args:
        lives: Running edges at the wear that counts.
        measure: What is usual of each key.
        exposure: Wear of each key's ended edges, shape (keys,) [wear units].
        pooled: Whether keys are to learn of each other with them.
    """
    doubted = too_old_to_run(lives, measure)
    counts = np.isfinite(lives.wear) & (lives.wear > 0) & ~doubted

    def much() -> Bools:
        key, wear = lives.key_index[counts], lives.wear[counts]
        seen = exposure + per_key(key, wear, len(exposure))
        found = np.zeros(len(lives), dtype=np.bool_)
        found[counts] = wear > LITTLE * seen[key]
        return found

    large = much()
    if 2 * np.count_nonzero(large) > MOST_KEPT:
        # A curve of its own for each would take most of a plan's time: only those count that
        # need none, and without the others each of them may turn out to be one that does.
        while large.any():
            counts &= ~large
            large = much()
    return Running(lives, counts, large, doubted, pooled)


def with_running(keys: KeyTable, ended: Posterior, running: Running) -> Posterior:
    """What is known once running edges are counted beside the ended ones.

    Args:
        keys: The key table.
        ended: What is known from the ended lives alone; doubts and looks stay as they say.
        running: The running edges.
    """
    lives = running.lives.take(running.counts)
    if not len(lives):
        return ended
    cells, sums = ended.scales.cells.grown(lives, _NO_ROWS, ended.scales.sums)
    sums = sums.plus(_sums(cells.of_life, len(cells), lives, ended))
    rows = np.unique(lives.key_index)
    if running.pooled:
        return ended.pooled_with(keys, cells, sums, rows)
    return ended.with_sums(cells, sums, rows)


def without_own(known: Posterior, running: Running, own: Ints) -> Posterior:
    """What is known to each of some running edges: all but its own share.

    Args:
        known: What is known with all that count.
        running: The running edges.
        own: Numbers of some that count, shape (edges,).

    Returns:
        A posterior with one row per edge in place of one per key.
    """
    lives = running.lives.take(own)
    key, place = lives.key_index, np.arange(len(own))
    boxes = known.scales.cells
    cell = boxes.grown(lives, _NO_ROWS, known.scales.sums)[0].of_life
    start = np.searchsorted(boxes.key, key, side="left")
    many = np.searchsorted(boxes.key, key, side="right") - start
    first = np.cumsum(many) - many
    row = np.repeat(place, many)
    taken = np.arange(len(row)) + (start - first)[row]
    cells = Cells(
        _NO_ROWS,
        _NO_ROWS,
        row,
        row * boxes.lots + boxes.slot[taken],
        boxes.lots,
        boxes.still[taken],
        boxes.shared,
    )
    mine = _sums(place, len(own), lives, known)
    at = first + cell - start
    sums = Sums(*(_less(known.scales.sums, mine, one.name, taken, at) for one in fields(Sums)))
    of_edges = replace(
        known,
        counts=known.counts[key],
        oldest=known.oldest[key],
        promise=known.promise[key],
        scales=_of_keys(known.scales, key, len(known.promise)),
        opinion=known.opinion[key],
        weights=known.weights[key],
    )
    return of_edges.with_sums(cells, sums, place)


def _of_keys(scales: Scales, key: Ints, keys: int) -> Scales:
    """A row of every key's table for each edge."""
    tables: dict[str, Any] = {}
    for one in fields(Scales):
        column = getattr(scales, one.name)
        if isinstance(column, np.ndarray) and len(column) == keys:
            tables[one.name] = column[key]
    return replace(scales, **tables)


def _sums(cell: Ints, cells: int, lives: LifeHistories, known: Posterior) -> Sums:
    bare = replace(lives, seen_kind=np.zeros(len(lives), dtype=np.int8))
    return sums_of(cell, _NO_ROWS, cells, bare, np.ones(len(lives)), known.law, known.looks)


def _less(whole: Sums, mine: Sums, name: str, taken: Ints, at: Ints) -> Floats:
    """A column of cells' sums, each edge's own taken from the cell that it is in."""
    column: Floats = getattr(whole, name)[taken]
    before = column[at]
    left = before - getattr(mine, name)
    column[at] = np.where(np.abs(left) <= _ROUNDING * np.abs(before), 0.0, left)
    return column
