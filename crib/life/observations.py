"""Edge histories: how far an edge got, how it ended, and what was seen of its wear."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crib.arrays import Bools, Floats, Ints
from crib.errors import OutsideModel
from crib.sentence import sentence

CENSORED: Final = 0
"""Taken out early: job change, inspection, a planned swap of an edge that still cut well."""
WORN: Final = 1
"""At the end of its life by wear."""
BROKEN: Final = 2
"""Chipped or broken."""

NOTHING_SEEN: Final = 0
LAND_SEEN: Final = 1
"""A wear land was measured."""
SIZE_SEEN: Final = 2
"""Size corrections followed the growth of the parts."""


@dataclass(frozen=True, slots=True)
class LifeHistories:
    """Lives of edges, arrays of shape (lives,).

    Attributes:
        key_index: Row of the key table that the edge belongs to.
        wear: Wear units reached when it came out.
        parts: Parts made.
        ended: ``CENSORED``, ``WORN`` or ``BROKEN``.
        lot: Label of the box it came from; -1: not known.
        since: Wear units at which it was last known good: a failure that nobody saw lies
            between there and ``wear``; equal to ``wear`` where that is exact.
        seen_share: Share of the wear limit that was seen; NaN: nothing.
        seen_at: Wear units at which it was seen.
        seen_kind: ``NOTHING_SEEN``, ``LAND_SEEN`` or ``SIZE_SEEN``.
        sure: Whether a person looked at the record and said that it is right.
    """

    key_index: Ints
    wear: Floats
    parts: Floats
    ended: NDArray[np.int8]
    lot: Ints
    since: Floats
    seen_share: Floats
    seen_at: Floats
    seen_kind: NDArray[np.int8]
    sure: Bools

    def __len__(self) -> int:
        return len(self.wear)

    def then(self, more: LifeHistories) -> LifeHistories:
        """These rows, and more of them after."""
        names = [column.name for column in fields(self)]
        return LifeHistories(
            *(np.concatenate([getattr(self, name), getattr(more, name)]) for name in names)
        )

    def take(self, rows: Bools | Ints) -> LifeHistories:
        """Only some rows."""
        return LifeHistories(*(getattr(self, column.name)[rows] for column in fields(self)))


def life_histories(
    key_index: ArrayLike,
    wear: ArrayLike,
    parts: ArrayLike,
    ended: ArrayLike,
    *,
    lot: ArrayLike | None = None,
    since: ArrayLike | None = None,
    seen_share: ArrayLike | None = None,
    seen_at: ArrayLike | None = None,
    seen_kind: ArrayLike | None = None,
    sure: ArrayLike | None = None,
) -> LifeHistories:
    """Histories from anything array-like; what is left out is not known.

    NaN in ``since`` says that the wear is exact, in ``seen_at`` that it was seen at the end. A
    ``since`` or ``seen_at`` beyond the wear is held at it; shares from 0.02 to 5 are taken as
    seen, others as a slip of the pen.

    Raises:
        OutsideModel: Unequal lengths, an ending or kind that is not known, a negative key.
    """
    keys = np.atleast_1d(np.asarray(key_index, dtype=np.int64))

    def column(values: ArrayLike | None, fill: float) -> Floats:
        if values is None:
            return np.full(keys.shape, fill)
        return np.atleast_1d(np.asarray(values, dtype=np.float64))

    reached = column(wear, 0.0)
    good, at, share = column(since, np.nan), column(seen_at, np.nan), column(seen_share, np.nan)
    kind, lots, ends = column(seen_kind, 0), column(lot, -1), column(ended, 0)
    made, certain = column(parts, 0.0), column(sure, 0)
    columns = (keys, reached, made, ends, good, at, share, kind, lots, certain)
    if len({values.shape for values in columns}) != 1 or reached.ndim != 1:
        raise OutsideModel(
            sentence("Every life needs one key, wear, number of parts and ending.")
        )
    if len(keys) and (keys.min() < 0 or not np.isin(ends, (0, 1, 2)).all()):
        raise OutsideModel(sentence("A life's key starts at 0 and its ending is 0, 1 or 2."))
    if not np.isin(kind, (0, 1, 2)).all():
        raise OutsideModel(sentence("The kind of a life's wear must be 0, 1 or 2."))
    with np.errstate(invalid="ignore"):
        told = (kind > 0) & (share >= LEAST_SHARE) & (share <= MOST_SHARE)
    return LifeHistories(
        keys,
        reached,
        made,
        ends.astype(np.int8),
        lots.astype(np.int64),
        np.fmin(np.maximum(good, 0.0), reached),
        np.where(told, share, np.nan),
        np.fmin(at, reached),
        np.where(told, kind, 0).astype(np.int8),
        certain.astype(np.bool_),
    )


#: Shares of the wear limit that can have been seen on an edge that still cut.
LEAST_SHARE: Final = 0.02
MOST_SHARE: Final = 5.0


#: A failure between two ages closer than this [ln] counts as seen.
_NEARLY_EXACT: Final = 1e-3


def seen_failures(lives: LifeHistories) -> Bools:
    """Edges that wore out while somebody was there to see it, shape (lives,)."""
    log_hi, log_lo = (np.log(np.maximum(age, 1e-12)) for age in (lives.wear, lives.since))
    seen: Bools = (lives.ended == WORN) & (log_hi - log_lo <= _NEARLY_EXACT)
    return seen


def same_rows(first: object, second: object, rows: int) -> bool:
    """Whether columns are equal to the first so many rows of other columns of their kind."""
    for column in fields(first):  # type: ignore[arg-type]
        one, other = getattr(first, column.name), getattr(second, column.name)
        if len(one) != rows or not np.array_equal(one, other[:rows], equal_nan=True):
            return False
    return True


def per_key(label: Ints, values: Floats, size: int = 0) -> Floats:
    """Sums of values by label, shape (size or the largest label + 1,)."""
    return np.bincount(label, values, minlength=size).astype(np.float64)


def by_label(label: Ints) -> Ints:
    """Order of labels from 0 up in which equal ones stay as they are, shape (labels,)."""
    if int(label.max(initial=0)) > np.iinfo(np.uint16).max:
        return np.argsort(label, kind="stable")
    # Short numbers are sorted by counting, several times as fast.
    return np.argsort(label.astype(np.uint16), kind="stable")
