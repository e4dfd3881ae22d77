"""Edge histories: how far an edge got, and whether it was worn, broken or taken out early."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crib.errors import OutsideModel
from crib.life.taylor import Floats

CENSORED: Final = 0
"""Taken out early: job change, inspection, a planned swap of an edge that still cut well."""
WORN: Final = 1
"""At the end of its life by wear."""
BROKEN: Final = 2
"""Chipped or broken."""

LEAST_LIFE: Final = 1e-3
MOST_LIVES: Final = 100.0
TIMES_THE_REST: Final = 5.0
"""Even at the flattest shape, 1.5, one life in 2,000 passes five medians."""
_FEW: Final = 3
_ENOUGH: Final = 6

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LifeHistories:
    """Lives of edges, arrays of shape (lives,).

    Attributes:
        key_index: Row of the key table that the edge belongs to.
        wear: Wear units reached when it came out.
        parts: Parts made.
        ended: ``CENSORED``, ``WORN`` or ``BROKEN``.
    """

    key_index: Ints
    wear: Floats
    parts: Floats
    ended: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.wear)

    def take(self, rows: NDArray[np.bool_]) -> LifeHistories:
        """Only the rows marked True."""
        return LifeHistories(
            self.key_index[rows], self.wear[rows], self.parts[rows], self.ended[rows]
        )


def life_histories(
    key_index: ArrayLike, wear: ArrayLike, parts: ArrayLike, ended: ArrayLike
) -> LifeHistories:
    """Histories from anything array-like.

    Raises:
        OutsideModel: Unequal lengths, an ending that is not known, a negative key.
    """
    keys = np.atleast_1d(np.asarray(key_index, dtype=np.int64))
    rows = LifeHistories(
        keys,
        np.atleast_1d(np.asarray(wear, dtype=np.float64)),
        np.atleast_1d(np.asarray(parts, dtype=np.float64)),
        np.atleast_1d(np.asarray(ended, dtype=np.int8)),
    )
    shapes = {rows.key_index.shape, rows.wear.shape, rows.parts.shape, rows.ended.shape}
    if len(shapes) != 1 or rows.wear.ndim != 1:
        raise OutsideModel("Every life needs one key, wear, number of parts and ending.")
    if len(keys) and (keys.min() < 0 or not np.isin(rows.ended, (0, 1, 2)).all()):
        raise OutsideModel("A life's key starts at 0 and its ending is 0, 1 or 2.")
    return rows


def per_key(label: Ints, values: Floats, size: int = 0) -> Floats:
    """Sums of values by label, shape (size or the largest label + 1,)."""
    return np.bincount(label, values, minlength=size).astype(np.float64)


def no_histories() -> LifeHistories:
    """A shop on its first day."""
    return life_histories([], [], [], [])


@dataclass(frozen=True, slots=True)
class SetAside:
    """A life that the model does not believe until somebody has looked at it.

    Attributes:
        row: Row of the histories.
        key_index: Its key.
        wear: Wear units reported.
        reason: A sentence for the person who checks it.
    """

    row: int
    key_index: int
    wear: float
    reason: str


def set_aside(
    histories: LifeHistories, promised: Floats
) -> tuple[LifeHistories, list[SetAside]]:
    """Keep absurd ages out: one of them would move a whole key's forecast.

    The yardstick is the promised life, or the median of the key's worn edges where there are
    at least six (a promise may be wrong by a large factor; the lives then agree with each
    other). With three to five of them it is the larger of the two.

    Args:
        histories: All lives.
        promised: Promised life of each key [wear units], shape (keys,).

    Returns:
        The believable lives and the others with the reason: ages that are no numbers, ended
        below 1/1000 of the yardstick, over 100 promised lives, over 5 times the key's median.
    """
    if not len(histories):
        return histories, []
    wear, parts = histories.wear, histories.parts
    broken_number = ~(np.isfinite(wear) & (wear >= 0) & np.isfinite(parts) & (parts >= 0))
    median, worn = _worn_median(histories, len(promised), ~broken_number)
    usual = np.where(worn >= _FEW, np.maximum(median, promised), promised)
    usual = np.where(worn >= _ENOUGH, median, usual)
    yardstick = usual[histories.key_index]
    most = np.where(worn >= _FEW, TIMES_THE_REST, MOST_LIVES)[histories.key_index]
    with np.errstate(invalid="ignore"):
        # An edge taken out at once tells nothing and harms nothing; one that failed so early
        # points at the mounting, not at wear.
        young = (wear < LEAST_LIFE * yardstick) & (histories.ended != CENSORED)
        old = wear > most * yardstick
    bad = broken_number | young | old
    listed = []
    for row in np.flatnonzero(bad):
        key = int(histories.key_index[row])
        if broken_number[row]:
            reason = "the age is not a number from 0 up"
        elif young[row]:
            reason = f"ended at less than 1/1000 of the usual life {yardstick[row]:.4g}"
        else:
            reason = f"over {most[row]:g} times the usual life {yardstick[row]:.4g}"
        listed.append(SetAside(int(row), key, float(wear[row]), reason))
    return (histories.take(~bad) if listed else histories), listed


def _worn_median(
    histories: LifeHistories, keys: int, usable: NDArray[np.bool_]
) -> tuple[Floats, Ints]:
    """Median age of worn edges per key (0 without any), and how many they are."""
    rows = (histories.ended == WORN) & usable
    key, wear = histories.key_index[rows], histories.wear[rows]
    order = np.lexsort((wear, key))
    key, wear = key[order], wear[order]
    count = np.bincount(key, minlength=keys)
    start = np.cumsum(count) - count
    some = count > 0
    median = np.zeros(keys)
    low = start[some] + (count[some] - 1) // 2
    high = start[some] + count[some] // 2
    median[some] = (wear[low] + wear[high]) / 2
    return median, count
