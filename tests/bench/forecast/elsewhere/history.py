"""What such a shop writes down: lives that a fixed count ends, looks, and its slips.

A count swaps every edge that has not failed before. Some lands are measured: at the end of an
edge, whatever ended it but a break, or in the middle of its life.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from tests.bench.forecast.elsewhere.gauge import measured
from tests.bench.forecast.elsewhere.truth import (
    BOX,
    Keys,
    draw_boxes,
    draw_crowd,
    draw_edges,
    shift,
)
from tests.bench.forecast.elsewhere.worlds import World
from tests.bench.forecast.records import (
    BROKEN,
    CENSORED,
    LAND_SEEN,
    NOTHING_SEEN,
    WORN,
    Records,
)

COUNT_SD: Final = 0.03
"""Spread of a count from swap to swap [ln]."""
#: A shop guesses its median lives this well [ln].
_GUESS: Final = 0.15


@dataclass(frozen=True, slots=True)
class History:
    """Lives in the order in which they ended.

    Attributes:
        kept: As the shop wrote them down.
        week: Week in which each was written down, shape (lives,).
        slip: Whether what is written down of it is wrong, shape (lives,).
    """

    kept: Records
    week: Floats
    slip: np.ndarray[tuple[int], np.dtype[np.bool_]]

    def until(self, lives: int) -> History:
        """Each key's first so many lives."""
        rows = self.kept.order < lives
        return History(self.kept.take(rows), self.week[rows], self.slip[rows])


def keep_history(world: World, keys: Keys, lives: int, seed: int) -> History:
    """So many lives of every key, about one a week."""
    rng = np.random.default_rng([seed, 102])
    order, key = (part.ravel() for part in np.indices((lives, len(keys))))
    week = order + rng.uniform(0.0, 1.0, len(key))
    lot = boxes(keys, key, order)
    ln = shift(world, keys, key, week) + draw_boxes(world, int(lot.max()) + 1, rng)[lot]
    edges = draw_edges(world, keys, key, ln, rng)
    count = counts_of(world, keys, seed)[key] * np.exp(COUNT_SD * rng.standard_normal(len(key)))
    thrown = rng.random(len(key)) < world.thrown
    run_over = np.where(thrown, rng.uniform(0.1, 1.0, len(key)) * keys.life[key], np.inf)
    planned = np.minimum(count, run_over)
    wear = np.minimum(edges.ends, planned)
    worn = np.where(edges.breaks < edges.wears, BROKEN, WORN)
    ended = np.where(edges.ends < planned, worn, CENSORED)
    draw = rng.random(len(key))
    at_end = draw < world.end_looks
    middle = ~at_end & (draw < world.end_looks + world.middle_looks)
    looked = (at_end & (ended != BROKEN)) | middle
    at = np.where(middle, rng.uniform(0.3, 0.8, len(key)), 1.0) * wear
    land = measured(world, edges.land(at), rng)
    kept = Records(
        key,
        order,
        wear,
        np.maximum(np.rint(wear / keys.wear_per_part[key]), 1.0),
        ended,
        lot,
        np.full(len(key), np.nan),
        np.where(looked, land, np.nan),
        np.where(looked, at, np.nan),
        np.where(looked, LAND_SEEN, NOTHING_SEEN),
    )
    by_week = np.argsort(week, kind="stable")
    kept, week = kept.take(by_week), week[by_week]
    slip = np.zeros(len(key), dtype=np.bool_)
    for trouble in (wrong_reasons, _lost_counts, swapped_labels):
        kept, slipped = trouble(world, keys, kept, np.random.default_rng([seed, 103]))
        slip |= slipped
    return History(kept, week, slip)


def counts_of(world: World, keys: Keys, seed: int) -> Floats:
    """Wear units at which each key's edges are swapped."""
    rng = np.random.default_rng([seed, 104])
    crowd = draw_crowd(world, keys, 1_000, 0.0, rng, melts_known=False)
    guess = np.median(crowd.ends, axis=1) * np.exp(_GUESS * rng.standard_normal(len(keys)))
    return world.count * guess


def boxes(keys: Keys, key: Ints, order: Ints) -> Ints:
    """Edges of an item come out of its boxes in turn, whatever key they go to."""
    sharers = np.bincount(keys.item)
    place = np.array(
        [np.count_nonzero(keys.item[:k] == keys.item[k]) for k in range(len(keys))]
    )
    number = order * sharers[keys.item[key]] + place[key]
    code = keys.item[key] * 100_000 + number // BOX
    return np.unique(code, return_inverse=True)[1].reshape(-1)


def neighbours(keys: Keys, key: Ints) -> tuple[Ints, Ints]:
    """Rows of pairs of edges of one class of work that came out in a row."""
    first, second = [], []
    for operation in range(int(keys.operation.max()) + 1):
        rows = np.flatnonzero(keys.operation[key] == operation)
        first.append(rows[: len(rows) // 2 * 2 : 2])
        second.append(rows[1::2])
    return np.concatenate(first), np.concatenate(second)


_Slips = tuple[Records, np.ndarray[tuple[int], np.dtype[np.bool_]]]


def wrong_reasons(world: World, keys: Keys, kept: Records, rng: np.random.Generator) -> _Slips:
    """Somebody pressed another button: one of the two other reasons."""
    wrong = rng.random(len(kept)) < world.wrong
    other = (kept.ended + rng.integers(1, 3, len(kept))) % 3
    return replace(kept, ended=np.where(wrong, other, kept.ended)), wrong


def _lost_counts(world: World, keys: Keys, kept: Records, rng: np.random.Generator) -> _Slips:
    """The counter missed a part of an edge's use."""
    lost = rng.random(len(kept)) < world.lost
    share = np.where(lost, rng.uniform(0.3, 0.9, len(kept)), 1.0)
    at = np.minimum(kept.seen_at, kept.wear * share)
    parts = np.maximum(np.rint(kept.parts * share), 1.0)
    return replace(kept, wear=kept.wear * share, parts=parts, seen_at=at), lost


def swapped_labels(world: World, keys: Keys, kept: Records, rng: np.random.Generator) -> _Slips:
    """Two edges of one class of work that came out in a row are taken for each other."""
    key, slip = kept.key.copy(), np.zeros(len(kept), dtype=np.bool_)
    if not world.swapped:
        return kept, slip
    first, second = neighbours(keys, kept.key)
    some = rng.random(len(first)) < world.swapped
    one, two = first[some], second[some]
    slip[one] = slip[two] = kept.key[one] != kept.key[two]
    key[one], key[two] = kept.key[two], kept.key[one]
    # What was counted are parts; they are reckoned as parts of the wrong key.
    scale = keys.wear_per_part[key] / keys.wear_per_part[kept.key]
    swapped = replace(kept, key=key, wear=kept.wear * scale, seen_at=kept.seen_at * scale)
    return swapped, slip
