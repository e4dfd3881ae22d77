"""Boxes: edges of one box share an effect on ln life, so many lives of one box are not many.

Every box of a key has a cell of its own. Towards the key, a cell's likelihood is tempered: its
weight falls as if it were one look with the boxes' spread added. Back from the key, an edge of
a known box leans on its own cell in full, an edge of a new box carries the spread. What looks
tell of a key shares a cell too: what is wrong with the looks is wrong with all of them. That
the edges lived on until then is in the cells of their boxes, and never in doubt. At the
usual spread the key's mean comes out within a fifth of its deviation of a two-level model's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.evidence import Sums
from crib.life.forms import Form, Terms
from crib.life.law import FORMS, MIDDLING
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
        of_look: Cell of what looks at the edges add, shape (looked at,).
        key: Key of each cell.
        code: Sorted, ``key * lots + slot``; what a cell is found by. Slot 0 holds lives of
            unknown boxes, slot 1 what looks tell, others the boxes from label 0 on.
        lots: Number of slots.
        still: How far each box counts towards its key: less where lives changed since
            (``crib.life.change``). What it says of its own edges stands.
        shared: Deviation of ln life that looks may have wrong in common.
    """

    of_life: Ints
    of_look: Ints
    key: Ints
    code: Ints
    lots: int
    still: Floats
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

    def counting(self, lives: LifeHistories, still: Floats) -> Cells:
        """The same where lives count towards their keys with some weight, shape (lives,)."""
        size = len(self)
        many = np.bincount(self.of_life, minlength=size)
        mean = np.bincount(self.of_life, still, size) / np.maximum(many, 1)
        return replace(self, still=np.where((many > 0) & (self.slot >= _BOXES), mean, 1.0))

    def grown(self, lives: LifeHistories, looked: Ints, sums: Sums) -> tuple[Cells, Sums]:
        """With the boxes of new lives (whose cells it then holds), and their sums."""
        slot = _slots(lives)
        lots = max(self.lots, int(slot.max(initial=_LOOKED)) + 1)
        old = self.key * lots + self.slot
        new = lives.key_index * lots + slot
        looks = lives.key_index[looked] * lots + _LOOKED
        code = np.union1d(old, np.concatenate([new, looks]))
        place = np.searchsorted(code, old)
        columns = []
        for column in (sums.first, sums.second, sums.constant):
            wide = np.zeros((len(code), column.shape[1]))
            wide[place] = column
            columns.append(wide)
        still = np.ones(len(code))
        still[place] = self.still
        of_life, of_look = np.searchsorted(code, new), np.searchsorted(code, looks)
        cells = Cells(of_life, of_look, code // lots, code, lots, still, self.shared)
        return cells, Sums(*columns)


def cells_of(lives: LifeHistories, looked: Ints, shared: float = 0.0) -> Cells:
    """The cells that lives fall into.

    Args:
        lives: Believable lives.
        looked: Rows of those that were taken out early and looked at.
        shared: Deviation of ln life that looks may have wrong in common.
    """
    slot = _slots(lives)
    lots = int(slot.max(initial=_LOOKED)) + 1
    looks = lives.key_index[looked] * lots + _LOOKED
    code, place = _distinct(np.concatenate([lives.key_index * lots + slot, looks]))
    of_life, of_look = place[: len(lives)], place[len(lives) :]
    return Cells(of_life, of_look, code // lots, code, lots, np.ones(len(code)), shared)


def _slots(lives: LifeHistories) -> Ints:
    return np.where(lives.lot >= 0, lives.lot + _BOXES, _UNKNOWN)


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


def spread_of(cells: Cells, variance: float) -> Floats:
    """What the lives of each cell share, as a variance of ln life, shape (cells,)."""
    slot = cells.slot
    boxes = np.where(slot == _LOOKED, cells.shared**2, variance)
    return np.where(slot == _UNKNOWN, 0.0, boxes)


def beyond_usual(cells: Cells, variance: float) -> Floats:
    """What the lives of each cell share beyond what those of a box usually do, (cells,)."""
    return spread_of(replace(cells, shared=0.0), max(variance - _LOT_SD**2, 0.0))


def key_sums(sums: Sums, cells: Cells, keys: int, s: int, variance: float) -> Terms:
    """Sums over each key's cells as the key takes them, under one law; shape (keys,)."""
    own = Terms(sums.first[:, s], sums.second[:, s], sums.constant[:, s])
    less = FORMS[s].tempered(own, spread_of(cells, variance))
    return Terms(*(per_key(cells.key, cells.still * column, keys) for column in less))


def lot_variance(sums: Sums, cells: Cells, keys: int) -> float:
    """Spread of boxes about their keys, as a variance of ln life, by a middling Weibull's law.

    By moments over the cells of all keys (DerSimonian & Laird 1986, from memory), held by the
    usual spread.
    """
    s, shape = MIDDLING, FORMS[MIDDLING].steepness
    d, b = sums.first[:, s] * cells.still, sums.second[:, s] * cells.still
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
    own: Terms,
    key: Terms,
    form: Form,
    variance: float,
    still: Floats,
) -> tuple[Floats, Floats]:
    """Mean and variance of ln scale of boxes, arrays of shape (cells,).

    Args:
        prior: Mean and variance of ln scale of each cell's key as like keys say it.
        own: Sums of the cell.
        key: Sums of its whole key, tempered.
        form: The law.
        variance: Spread of boxes.
        still: How far the cell counts towards its key.
    """
    towards = Terms(*(still * column for column in form.tempered(own, variance)))
    before = form.after(*prior, *form.less(key, towards))
    after = form.after(before.mean, before.variance + variance, own.first, own.second)
    return after.mean, after.variance
