"""What is known of one edge beside its age: its box, and what was last seen of its wear."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats, Ints
from crib.errors import OutsideModel
from crib.life.observations import LEAST_SHARE, MOST_SHARE
from crib.sentence import sentence


@dataclass(frozen=True, slots=True)
class EdgeSigns:
    """Signs of edges, arrays of one shape or that of the edges.

    Attributes:
        lot: Label of the box; -1: not known.
        seen_share: Share of the wear limit seen; NaN: nothing.
        seen_at: Wear units of the edge when it was seen.
        seen_kind: ``NOTHING_SEEN``, ``LAND_SEEN`` or ``SIZE_SEEN``.
        own: Number of the edge among the running ones of the model; -1: it is none of them.
    """

    lot: Ints
    seen_share: Floats
    seen_at: Floats
    seen_kind: Ints
    own: Ints

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape that the edges have to have."""
        return self.lot.shape

    @property
    def looked(self) -> Bools:
        """Which edges were looked at."""
        return self.seen_kind > 0

    def spread(self, shape: tuple[int, ...]) -> EdgeSigns:
        """Signs of edges of a shape, flat."""
        return EdgeSigns(
            *(
                np.broadcast_to(getattr(self, column.name), shape).reshape(-1)
                for column in fields(self)
            )
        )

    def take(self, rows: Bools | Ints | slice) -> EdgeSigns:
        """Only some edges."""
        return EdgeSigns(*(getattr(self, column.name)[rows] for column in fields(self)))

    def where(self, taken: Bools, other: EdgeSigns) -> EdgeSigns:
        """These signs where ``taken``, else the other ones; all of one shape."""
        return EdgeSigns(
            *(
                np.where(taken, getattr(self, column.name), getattr(other, column.name))
                for column in fields(self)
            )
        )


def edge_signs(
    lot: ArrayLike = -1,
    seen_share: ArrayLike = np.nan,
    seen_at: ArrayLike = np.nan,
    seen_kind: ArrayLike = 0,
    own: ArrayLike = -1,
) -> EdgeSigns:
    """Signs from anything array-like; shares that cannot have been seen count as nothing seen.

    Raises:
        OutsideModel: A kind that is not known.
    """
    lots, share, at, kind, mine = np.broadcast_arrays(
        np.asarray(lot, dtype=np.int64),
        np.asarray(seen_share, dtype=np.float64),
        np.asarray(seen_at, dtype=np.float64),
        np.asarray(seen_kind, dtype=np.int64),
        np.asarray(own, dtype=np.int64),
    )
    if not np.isin(kind, (0, 1, 2)).all():
        raise OutsideModel(sentence("The kind of an edge's wear must be 0, 1 or 2."))
    with np.errstate(invalid="ignore"):
        told = (kind > 0) & (share >= LEAST_SHARE) & (share <= MOST_SHARE) & (at > 0)
    told &= np.isfinite(at)
    return EdgeSigns(
        np.maximum(lots, -1),
        np.where(told, share, np.nan),
        np.where(told, at, np.nan),
        np.where(told, kind, 0),
        np.maximum(mine, -1),
    )


NO_SIGNS = edge_signs()
"""Edges of which nothing but the age is known."""
