"""Counts kept aside that look as if somebody had set the counter, a stretch at a time."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from crib.store.engine import Tx
from crib.store.verdict_rows import KeptAside, waiting_doubted

#: So many counts that go on from each other are no slip.
_ENOUGH = 2


@dataclass(frozen=True, slots=True)
class SetStretch:
    """Counts that go on from each other: the first, the last, how many."""

    first: KeptAside
    last: KeptAside
    size: int


def set_stretches(tx: Tx) -> list[SetStretch]:
    """Stretches that one verdict on their first count can book."""
    found = []
    for _, rows in groupby(waiting_doubted(tx), lambda one: one.counter):
        stretch: list[KeptAside] = []
        for one in rows:
            if stretch and one.count < stretch[-1].count:
                found.append(stretch)
                stretch = []
            stretch.append(one)
        found.append(stretch)
    return [SetStretch(one[0], one[-1], len(one)) for one in found if len(one) >= _ENOUGH]
