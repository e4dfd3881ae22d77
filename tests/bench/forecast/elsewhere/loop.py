"""Shops that swap at the forecast's own word, so that its swaps make the data it learns from.

In every round each key mounts some edges, all out of its present box. Some are looked at once
on the way and swapped by what is then told of them. The first of each key is written down, as
the shop would write it; the others only show how right the forecast was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from tests.bench.forecast.elsewhere.forecaster import ByDraws, Forecaster, Learner
from tests.bench.forecast.elsewhere.gauge import measured
from tests.bench.forecast.elsewhere.history import (
    boxes,
    swapped_labels,
    wrong_reasons,
)
from tests.bench.forecast.elsewhere.truth import (
    Edges,
    Keys,
    draw_boxes,
    draw_crowd,
    draw_edges,
    draw_keys,
    shift,
)
from tests.bench.forecast.elsewhere.worlds import World
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.records import (
    BROKEN,
    CENSORED,
    LAND_SEEN,
    NOTHING_SEEN,
    WORN,
    Records,
)

ROUNDS: Final = 50
#: Rounds in which blocks of the tables end.
BLOCKS: Final = (5, 20, ROUNDS)
#: Later on a few lives more change little: the model is fitted again in every third round.
_OFTEN, _SELDOM = 10, 3
POINTS: Final[Floats] = np.array([0.02, 0.05, 0.10])
_EACH: Final = 8
_LOOKS, _LOOK_AT = 0.4, 0.6
_LAW, _SPREAD = 3_000, np.array([0.10, 0.90])

#: Gives the forecaster of a round, by the records so far and each key's present box.
Teach = Callable[[Records, int, Ints], Forecaster]


@dataclass(frozen=True, slots=True)
class Lived:
    """Edges that were run in the loop, arrays of shape (edges,) or (edges, points).

    Attributes:
        key: Row of the keys.
        order: Round in which each was mounted, from 0.
        ends: Use at which it would fail, as the shop counts it.
        stops: Use at which it is thrown out, whatever is told of it; infinite: never.
        lost: Share of its use that the shop counts.
        swap: Use at which it was to be swapped, by what was told last.
        looked: Whether it was looked at.
        below_new: Whether it ends below the told points of a new edge.
        below_later: The same of what was told on the way: after the look, or at the same age
            without one.
        later: Whether anything was told on the way.
        claimed: Chance that was claimed for some stretch before its swap; NaN: none.
        happened: Whether it ended in that stretch.
    """

    key: Ints
    order: Ints
    ends: Floats
    stops: Floats
    lost: Floats
    swap: Floats
    looked: Bools
    below_new: Bools
    below_later: Bools
    later: Bools
    claimed: Floats
    happened: Bools

    def take(self, rows: Bools) -> Lived:
        """Some of the edges."""
        return Lived(*(getattr(self, f.name)[rows] for f in fields(self)))

    def rates(self, keys: Keys, planned: Floats) -> Floats:
        """Cost per true use of every key if its edges are swapped at some count, (keys,)."""
        out = np.minimum(planned, self.stops)
        fails = self.ends < out
        cost = np.where(fails, keys.failure_cost[self.key], keys.planned_cost[self.key])
        use = np.minimum(self.ends, out) / self.lost
        rate: Floats = np.bincount(self.key, cost) / np.bincount(self.key, use)
        return rate

    def fails(self) -> Bools:
        """Which failed in the cut."""
        return self.ends < np.minimum(self.swap, self.stops)


@dataclass(frozen=True, slots=True)
class Loop:
    """A shop that was run.

    Attributes:
        keys: Its keys.
        lived: All edges.
        shape: Told over true shape, by round; of the last one of every block.
        kept: What it wrote down.
    """

    keys: Keys
    lived: Lived
    shape: dict[int, float]
    kept: Records


def run_by_model(world: World, seed: int, told: Ablation, rounds: int = ROUNDS) -> Loop:
    """A shop at the word of the life model, fitted again in every round."""
    keys = draw_keys(world, seed)
    learner = Learner(keys, told)
    model = learner.learn(_nothing(), 0)

    def teach(kept: Records, order: int, box: Ints) -> Forecaster:
        nonlocal model
        if 0 < order < _OFTEN or order % _SELDOM == 1:
            model = learner.learn(kept, order)
        return replace(model, box=box if told.lots else None)

    return run(world, keys, seed, teach, rounds, looks=told.signals)


def run_by_law(world: World, seed: int, looks: bool = True, rounds: int = ROUNDS) -> Loop:
    """A shop at the word of one who knows each key's law and coating, but not the melt."""
    keys = draw_keys(world, seed)
    known: dict[bool, Forecaster] = {}

    def teach(kept: Records, order: int, box: Ints) -> Forecaster:
        changed = bool(world.change_week) and order + 0.5 >= world.change_week
        if changed not in known:
            rng = np.random.default_rng([seed, 111])
            drawn = draw_crowd(world, keys, _LAW, order + 0.5, rng, melts_known=False)
            known[changed] = ByDraws(drawn, keys, world)
        return known[changed]

    return run(world, keys, seed, teach, rounds, looks=looks)


def run(
    world: World, keys: Keys, seed: int, teach: Teach, rounds: int, *, looks: bool = True
) -> Loop:
    """A shop at a forecaster's word."""
    rng = np.random.default_rng([seed, 107])
    every = np.arange(len(keys))
    order, key = (part.ravel() for part in np.indices((rounds, len(keys))))
    label = boxes(keys, key, order).reshape(rounds, len(keys))
    effect = draw_boxes(world, int(label.max()) + 1, rng)
    kept = _nothing()
    lived: list[Lived] = []
    shape: dict[int, float] = {}
    for turn in range(rounds):
        one = teach(kept, turn, label[turn])
        row = np.tile(every, _EACH)
        ln = shift(world, keys, row, np.full(len(row), turn + 0.5))
        edges = draw_edges(world, keys, row, ln + effect[label[turn]][row], rng)
        now, seen, edges = _one_round(world, keys, edges, row, turn, one, rng, looks)
        lived.append(now)
        rows = _written(world, keys, edges, now, seen, label[turn], rng)
        for trouble in (wrong_reasons, swapped_labels):
            rows, _ = trouble(world, keys, rows, rng)
        kept = kept.then(rows)
        if turn + 1 in BLOCKS or turn + 1 == rounds:
            shape[turn] = _shape(world, keys, turn, one, seed)
    columns = (np.concatenate([getattr(part, f.name) for part in lived]) for f in fields(Lived))
    return Loop(keys, Lived(*columns), shape, kept)


def _one_round(
    world: World,
    keys: Keys,
    edges: Edges,
    row: Ints,
    turn: int,
    one: Forecaster,
    rng: np.random.Generator,
    looks: bool,
) -> tuple[Lived, tuple[Floats, Floats], Edges]:
    """Run edges; what is seen of each is its land and the use at which that was."""
    count = len(row)
    # Where a part of the count is lost, all happens earlier by the shop's count.
    lost = np.where(rng.random(count) < world.lost, rng.uniform(0.3, 0.9, count), 1.0)
    edges = edges.slowed(lost)
    ends = edges.ends
    thrown = rng.random(count) < world.thrown
    stops = np.where(thrown, rng.uniform(0.1, 1.0, count) * keys.life[row], np.inf)
    every = np.arange(len(keys))
    points = one.left(every, np.zeros(len(keys)), POINTS)[row]
    swap = one.swap_ages()[row]
    at = _LOOK_AT * swap
    land = measured(world, edges.land(at), rng)
    alive = ends > at
    looked = alive & (stops > at) & (rng.random(count) < (_LOOKS if looks else 0.0))
    blind = alive & ~looked
    left = np.full((count, len(POINTS)), np.nan)
    claimed, begins, ahead = np.full(count, np.nan), at.copy(), np.zeros(count)
    if looked.any():
        left[looked] = one.left(row[looked], at[looked], POINTS, land[looked])
        swap = swap.copy()
        swap[looked] = one.swap_looked(row[looked], at[looked], land[looked])
    if blind.any():
        left[blind] = one.left(row[blind], at[blind], POINTS)
    # Some stretch of what is left until the swap: an edge is kept in it.
    begins += rng.random(count) * np.maximum(swap - at, 0.0)
    ahead = rng.random(count) * np.maximum(swap - begins, 0.0)
    for some, seen in ((looked, land), (blind, None)):
        some = some & (ends > begins) & (ahead > 0)
        if some.any():
            claimed[some] = one.fails(
                row[some],
                begins[some],
                ahead[some],
                at[some],
                None if seen is None else seen[some],
            )
    lived = Lived(
        row,
        np.full(count, turn),
        ends,
        stops,
        lost,
        swap,
        looked,
        ends[:, None] <= points,
        (ends - at)[:, None] <= left,
        alive,
        claimed,
        ends <= begins + ahead,
    )
    return lived, (np.where(looked, land, np.nan), np.where(looked, at, np.nan)), edges


def _written(
    world: World,
    keys: Keys,
    edges: Edges,
    lived: Lived,
    seen: tuple[Floats, Floats],
    label: Ints,
    rng: np.random.Generator,
) -> Records:
    """What is written down of each key's first edge."""
    some = np.arange(len(keys))
    wear = np.minimum(np.minimum(lived.ends, lived.swap), lived.stops)
    ended = np.where(edges.breaks < edges.wears, BROKEN, WORN)
    ended = np.where(lived.fails(), ended, CENSORED)
    land, at = seen
    end = (rng.random(len(wear)) < world.end_looks) & ~lived.looked & (ended != BROKEN)
    last = measured(world, edges.land(wear), rng)
    land, at = np.where(end, last, land), np.where(end, wear, at)
    kind = np.where(np.isfinite(land), LAND_SEEN, NOTHING_SEEN)
    parts = np.maximum(np.rint(wear / keys.wear_per_part[lived.key]), 1.0)
    rows = Records(
        lived.key, lived.order, wear, parts, ended, label[lived.key],
        np.full(len(wear), np.nan), land, at, kind,
    )  # fmt: skip
    return rows.take(some)


def _shape(world: World, keys: Keys, turn: int, one: Forecaster, seed: int) -> float:
    """Told over true shape: true over told spread of ln life from 10 to 90 %."""
    rng = np.random.default_rng([seed, 108, turn])
    law = draw_crowd(world, keys, _LAW, turn + 0.5, rng, melts_known=True).ends
    true = np.quantile(law, _SPREAD, axis=1).T
    told = one.left(np.arange(len(keys)), np.zeros(len(keys)), _SPREAD)
    true, told = (np.log(q[:, 1] / q[:, 0]) for q in (true, told))
    return float(np.median(true / told))


def _nothing() -> Records:
    whole, real = np.empty(0, dtype=np.int64), np.empty(0)
    return Records(whole, whole, real, real, whole, whole, real, real, real, whole)
