"""Counters announced to be set: restarted as soon as a count shows it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol

import numpy as np

from crib.arrays import Floats, Ints
from crib.floor.count import Absorbed
from crib.floor.line import SET
from crib.floor.refused import impossible
from crib.floor.told_set import Row, ToldSet, set_at
from crib.store.counts import Counted, known_around, parts_per_cycle
from crib.store.engine import Tx
from crib.store.told_sets import waiting_sets

Fastest = Callable[[Ints, Ints], Floats]


class Absorbs(Protocol):
    """Takes readings in by a fact."""

    def __call__(
        self,
        tx: Tx,
        fact_id: int,
        counter: Counted,
        at_us: Ints,
        count: Ints,
        *,
        believed: bool = False,
        starts: int = 0,
    ) -> Absorbed:
        """What changed."""


def restart_set_counters(
    tx: Tx,
    counter: Counted,
    batch: tuple[Ints, Ints],
    fastest: Fastest,
    absorbs: Absorbs,
) -> int:
    """Restart counters that a batch shows were set as announced; how many did.

    Args:
        tx: A write transaction.
        counter: The counter.
        batch: Instants [µs] and counts of readings that are about to be taken in.
        fastest: Shortest cycle time [s] between instants [µs].
        absorbs: Takes readings in by a fact.
    """
    if not batch[0].size:
        return 0
    begun = 0
    for one in waiting_sets(tx, counter):
        whole, refused = impossible(*batch)
        fit = np.delete(np.arange(whole.size), [row.index for row in refused])
        news = zip(batch[0][fit].tolist(), whole[fit].tolist(), strict=True)
        at_us = begins_at(tx, counter, one.told, news, fastest)
        if at_us is not None:
            begun += begin_at(tx, one.fact_id, counter, at_us, one.told.said, absorbs)
    return begun


def begins_at(
    tx: Tx,
    counter: Counted,
    told: ToldSet,
    news: Iterable[tuple[int, int]],
    fastest: Fastest,
) -> int | None:
    """When the counter was set as announced [µs]; None where no count shows it.

    Args:
        tx: An open transaction.
        counter: The counter.
        told: What was announced.
        news: Instants [µs] and counts that are not taken in.
        fastest: Shortest cycle time [s] between instants [µs].
    """
    new = list(news)
    times = [at for at, _ in new] or [told.at_us]
    known = known_around(tx, counter, min(times), max(times))
    if not known.at_us.size:
        return None
    rows = [Row(at, said, False) for at, said in zip(
        known.at_us.tolist(), known.count.tolist(), strict=True
    )]  # fmt: skip
    taken = {row.at_us for row in rows}
    rows = sorted([*rows, *(Row(*one, True) for one in set(new) if one[0] not in taken)])
    ends = np.array([rows[0].at_us]), np.array([rows[-1].at_us])
    cycle_s = float(fastest(*ends)[0])
    return set_at(told, rows, cycle_s, parts_per_cycle(tx, counter))


def begin_at(
    tx: Tx, fact_id: int, counter: Counted, at_us: int, count: int, absorbs: Absorbs
) -> int:
    """Take in that the counter was set; how many readings that adds: 1, or 0 for none."""
    when, said = np.array([at_us], dtype=np.int64), np.array([count], dtype=np.int64)
    if at_us in known_around(tx, counter, at_us, at_us).at_us:
        when -= 1  # a count of that very instant stays
    taken = absorbs(tx, fact_id, counter, when, said, believed=True, starts=SET)
    return int(taken.index.size)
