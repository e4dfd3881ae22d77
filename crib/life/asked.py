"""Edges that the life model is asked about: checked, broadcast, in pieces of bounded memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats, Ints
from crib.errors import OutsideModel
from crib.life.observations import by_label
from crib.life.signs import NO_SIGNS, EdgeSigns
from crib.sentence import sentence

_CHUNK = 250_000
#: Each edge that was looked at has a curve of its own; so few of them stay in the cache.
LOOKED_CHUNK = 4_000


@dataclass(frozen=True, slots=True)
class Asked:
    """Edges asked for, flat, arrays of shape (edges,).

    Attributes:
        rows: Rows of the key table.
        columns: Numbers per edge, in the order given.
        signs: What is known of each beside its age.
        shape: Shape in which the answer is wanted.
    """

    rows: Ints
    columns: list[Floats]
    signs: EdgeSigns
    shape: tuple[int, ...]

    def chunks(self) -> list[Ints]:
        """Places of edges in pieces of bounded memory; several are sorted by key."""
        size = LOOKED_CHUNK if self.signs.looked.any() else _CHUNK
        if len(self.rows) <= size:
            return [np.arange(len(self.rows))]
        order = by_label(self.rows)
        return [order[i : i + size] for i in range(0, len(order), size)]


def asked_for(
    keys: int, key: ArrayLike, signs: EdgeSigns, *columns: tuple[ArrayLike, str, bool]
) -> Asked:
    """Edges and their numbers, broadcast together.

    Args:
        keys: How many keys there are.
        key: Row of each edge.
        signs: Their signs.
        columns: Values, name, and whether a 0 is allowed.

    Raises:
        OutsideModel: A key that is not there, a number that is none or out of range.
    """
    rows = np.asarray(key, dtype=np.int64)
    arrays: list[Floats] = []
    for values, name, zero in columns:
        array = np.asarray(values, dtype=np.float64)
        if not np.all(np.isfinite(array) & ((array >= 0) if zero else (array > 0))):
            least = sentence("from 0") if zero else sentence("above 0")
            raise OutsideModel(
                sentence("{name} has to be a number {least}.", name=name, least=least),
                facts={"quantity": name},
            )
        arrays.append(array)
    shape = np.broadcast_shapes(rows.shape, *(array.shape for array in arrays), signs.shape)
    flat = np.broadcast_to(rows, shape).reshape(-1)
    if len(flat) and not (flat.min() >= 0 and flat.max() < keys):
        raise OutsideModel(
            sentence("The life model does not know this key."), facts={"quantity": "key"}
        )
    wide = [np.broadcast_to(array, shape).reshape(-1) for array in arrays]
    return Asked(flat, wide, signs.spread(shape), shape)


def new_edges(rows: Ints) -> Asked:
    """Edges out of new boxes of which nothing is known."""
    return Asked(rows, [], NO_SIGNS.spread(rows.shape), rows.shape)


def distinct(*columns: Ints | Floats) -> tuple[Ints, Ints]:
    """Number of each row's distinct combination, and a row that holds each."""
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        values, inverse = np.unique(column, return_inverse=True)
        code = code * len(values) + inverse
        code = np.unique(code, return_inverse=True)[1]
    _, first, case = np.unique(code, return_index=True, return_inverse=True)
    return case, first
