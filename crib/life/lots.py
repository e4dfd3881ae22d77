"""Boxes: edges of one box share an effect on ln life, so many lives of one box are not many.

Every box of a key has a cell of its own. Towards the key, a cell's likelihood is tempered: its
weight falls as if it were one look with the boxes' spread added. Back from the key, an edge of
a known box leans on its own cell in full, an edge of a new box carries the spread. Lives that
only looks tell share a cell too: what is wrong with the looks is wrong with all of them. At the
usual spread the key's mean comes out within a fifth of its deviation of a two-level model's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaln

from crib.arrays import Floats, Ints
from crib.life.conjugate import posterior_moments
from crib.life.evidence import Sums
from crib.life.observations import LifeHistories, per_key

# Spread of boxes before any was seen: common practice, no source.
_LOT_SD: Final = 0.10
_LOT_WORTH: Final = 10.0
_MOST_SD: Final = 0.5
_UNKNOWN, _LOOKED, _BOXES = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Cells:
    """Boxes of keys, arrays of shape (cells,); lives of unknown boxes share a key's cell.

    Attributes:
        of_life: Cell of each life, shape (lives,).
        key: Key of each cell.
        code: Sorted, ``key * lots + slot``; what a cell is found by. Slot 0 holds lives of
            unknown boxes, slot 1 those that looks tell, others the boxes from label 0 on.
        lots: Number of slots.
        shared: Deviation of ln life that looks may have wrong in common.
    """

    of_life: Ints
    key: Ints
    code: Ints
    lots: int
    shared: float = 0.0

    @property
    def slot(self) -> Ints:
        """Slot of each cell."""
        return self.code % max(self.lots, 1)

    def __len__(self) -> int:
        return len(self.key)

    def find(self, key: Ints, lot: Ints) -> Ints:
        """Cells of edges, -1 where the box is not known or had no life yet."""
        if not len(self.code):
            return np.full(len(key), -1, dtype=np.int64)
        wanted = key * self.lots + lot + _BOXES
        at = np.minimum(np.searchsorted(self.code, wanted), len(self.code) - 1)
        found = (self.code[at] == wanted) & (lot >= 0) & (lot + _BOXES < self.lots)
        return np.where(found, at, -1)

    def grown(self, lives: LifeHistories, looked: Ints, sums: Sums) -> tuple[Cells, Sums, Ints]:
        """With the boxes of new lives among them; their sums, and the cell of each new life."""
        slot = _slots(lives, looked)
        lots = max(self.lots, int(slot.max(initial=0)) + 1)
        old = self.key * lots + self.slot
        new = lives.key_index * lots + slot
        code = np.union1d(old, new)
        place = np.searchsorted(code, old)
        columns = []
        for column in (sums.worn, sums.powers, sums.constant):
            wide = np.zeros((len(code), column.shape[1]))
            wide[place] = column
            columns.append(wide)
        cell = np.searchsorted(code, new)
        cells = Cells(cell, code // lots, code, lots, self.shared)
        return cells, Sums(*columns), cell


def cells_of(lives: LifeHistories, looked: Ints, shared: float = 0.0) -> Cells:
    """The cells that lives fall into.

    Args:
        lives: Believable lives.
        looked: Rows of those whose end only a look tells.
        shared: Deviation of ln life that looks may have wrong in common.
    """
    slot = _slots(lives, looked)
    lots = int(slot.max(initial=0)) + 1
    code, of_life = _distinct(lives.key_index * lots + slot)
    return Cells(of_life, code // lots, code, lots, shared)


def _slots(lives: LifeHistories, looked: Ints) -> Ints:
    slot = np.where(lives.lot >= 0, lives.lot + _BOXES, _UNKNOWN)
    slot[looked] = _LOOKED
    return slot


def _distinct(code: Ints) -> tuple[Ints, Ints]:
    """The numbers that occur, rising, and the place of each among them."""
    most = int(code.max(initial=-1))
    if most > 4 * len(code):
        some, place = np.unique(code, return_inverse=True)
        return some, place.reshape(-1)
    # Few numbers are ticked off, several times as fast as sorting.
    occurs = np.zeros(most + 1, dtype=bool)
    occurs[code] = True
    return np.flatnonzero(occurs), (np.cumsum(occurs) - 1)[code]


@dataclass(frozen=True, slots=True)
class KeySums:
    """Sums over a key's cells as the key takes them, arrays of shape (keys,)."""

    worn: Floats
    powers: Floats
    constant: Floats


def tempering(sums: Sums, cells: Cells, s: int, shape: float, variance: float) -> Floats:
    """Weight of each cell's likelihood towards its key, shape (cells,).

    A cell's likelihood of ln scale has precision ``k^2 d`` at its mode; with the boxes' spread
    added to that variance it has that of the same likelihood at the power
    ``1 / (1 + k^2 d variance)``.
    """
    return 1 / (1 + shape**2 * sums.worn[:, s] * spread_of(cells, variance))


def spread_of(cells: Cells, variance: float) -> Floats:
    """What the lives of each cell share, as a variance of ln life, shape (cells,)."""
    slot = cells.slot
    boxes = np.where(slot == _LOOKED, cells.shared**2, variance)
    return np.where(slot == _UNKNOWN, 0.0, boxes)


def tempered(
    d: Floats, b: Floats, weight: Floats, shape: float, variance: Floats | float
) -> tuple[Floats, Floats]:
    """``d`` and ``b`` of cells at their weight.

    Over boxes ``x^k`` is larger by ``exp(k^2 variance / 2)`` on average than in the middling
    one; the power alone would leave that in and make the key's life too long.
    """
    return weight * d, weight * b * np.exp(-0.5 * (1 - weight) * shape**2 * variance)


def key_sums(
    sums: Sums, cells: Cells, keys: int, s: int, shape: float, variance: float
) -> KeySums:
    """Tempered sums of all keys at one shape."""
    weight = tempering(sums, cells, s, shape, variance)
    d, b = sums.worn[:, s], sums.powers[:, s]
    less_d, less_b = tempered(d, b, weight, shape, spread_of(cells, variance))
    constant = sums.constant[:, s].copy()
    rows = np.flatnonzero((weight < 1) & (b > 0))
    # Spreading a likelihood of ln scale leaves its integral as it was.
    constant[rows] += gammaln(d[rows]) - d[rows] * np.log(b[rows])
    constant[rows] -= gammaln(less_d[rows]) - less_d[rows] * np.log(less_b[rows])
    return KeySums(
        per_key(cells.key, less_d, keys),
        per_key(cells.key, less_b, keys),
        per_key(cells.key, constant, keys),
    )


def lot_variance(sums: Sums, cells: Cells, keys: int, s: int, shape: float) -> float:
    """Spread of boxes about their keys, as a variance of ln life.

    By moments over the cells of all keys (DerSimonian & Laird 1986, from memory), held by the
    usual spread.
    """
    d, b = sums.worn[:, s], sums.powers[:, s]
    rows = (cells.slot >= _BOXES) & (d >= 1) & (b > 0)
    base = _LOT_SD**2
    key = cells.key[rows]
    if not len(key):
        return base
    centre = np.log(b[rows] / d[rows]) / shape
    precision = shape**2 * d[rows]
    total = per_key(key, precision, keys)
    safe = np.maximum(total, 1e-300)
    mean = per_key(key, precision * centre, keys) / safe
    squares = float(np.sum(precision * (centre - mean[key]) ** 2))
    free = len(key) - int(np.count_nonzero(total))
    scale = float(np.sum(total - per_key(key, precision**2, keys) / safe))
    if free < 1 or scale <= 0:
        return base
    found = min(max((squares - free) / scale, 0.0), _MOST_SD**2)
    worth = free * (base * scale / free / (1 + base * scale / free)) ** 2
    return (_LOT_WORTH * base + worth * found) / (_LOT_WORTH + worth)


def cell_moments(
    prior: tuple[Floats, Floats],
    own: tuple[Floats, Floats, Floats],
    key: tuple[Floats, Floats],
    shape: float,
    variance: float,
) -> tuple[Floats, Floats]:
    """Mean and variance of ln scale of boxes, arrays of shape (cells,).

    Args:
        prior: Mean and variance of ln scale of each cell's key as like keys say it.
        own: ``d``, ``b`` of the cell, and its tempering.
        key: ``d`` and ``b`` of its whole key, tempered.
        shape: k.
        variance: Spread of boxes.
    """
    d, b, weight = own
    less_d, less_b = tempered(d, b, weight, shape, variance)
    others = np.maximum(key[0] - less_d, 0.0), np.maximum(key[1] - less_b, 0.0)
    with np.errstate(divide="ignore"):
        before = posterior_moments(*prior, others[0], np.log(others[1]), shape)
        after = posterior_moments(before.mean, before.variance + variance, d, np.log(b), shape)
    return after.mean, after.variance
