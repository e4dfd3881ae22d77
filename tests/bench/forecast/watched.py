"""Edges followed one by one through their lives, for forecasts that look at the single edge.

What is known of an edge (its box, its size corrections so far) differs from edge to edge, so
these scores come from drawn edges; the same edges are run with and without the looks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.model import LifeModel
from crib.life.signs import NO_SIGNS
from tests.bench.forecast.predictor import Ablation, signs_of
from tests.bench.forecast.scores import PROBS, ends_inside
from tests.bench.forecast.truth import Edges, TrueLaws, draw_edges
from tests.bench.forecast.worlds import CORRECTED_FROM, ShopKeys, World

PER_KEY: Final = 16
#: Part checks come every so many median lives, up to this age.
_STEP, _LAST = 0.04, 3.0


@dataclass(frozen=True, slots=True)
class Watched:
    """Edges and how they would go on if nobody swapped them, arrays of shape (edges, ...).

    Attributes:
        key: Row of the keys.
        lot: Label of the box.
        wear_per_part: Reckoned wear of a part of the edge's job.
        ends: Reckoned wear at which it fails.
        step: Reckoned wear between two checks.
        grown: Size corrections after each check, shape (edges, checks).
        grown_at: Reckoned wear at the last one; NaN without any.
    """

    key: Ints
    lot: Ints
    wear_per_part: Floats
    ends: Floats
    step: Floats
    grown: Floats
    grown_at: Floats


def draw_watched(
    world: World, keys: ShopKeys, laws: TrueLaws, lot: Ints, effect: Floats, seed: int
) -> Watched:
    """So many edges of every key out of its present box.

    Args:
        world: The world.
        keys: Its keys.
        laws: Their true laws.
        lot: Present box of each key, shape (keys,).
        effect: Effect of every box.
        seed: Any number.
    """
    rng = np.random.default_rng([seed, 7])
    key = np.repeat(np.arange(len(keys)), PER_KEY)
    edges = draw_edges(keys.truth, key, effect[lot[key]], rng)
    job = rng.integers(0, keys.truth.job_wear.shape[1], len(key))
    wear = keys.truth.job_wear[key, job]
    pace = keys.truth.job_factor[key, job]
    step = _STEP * laws.median()[key]
    grown, grown_at = _follow(world, edges, pace, step, keys.sized[key], rng)
    ends = np.minimum(edges.stands / pace, edges.chips_after * wear)
    return Watched(key, lot[key], wear, ends, step, grown, grown_at)


def _follow(
    world: World,
    edges: Edges,
    pace: Floats,
    step: Floats,
    sized: np.ndarray[tuple[int], np.dtype[np.bool_]],
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    checks = round(_LAST / _STEP)
    grown = np.zeros((len(step), checks + 1))
    at = np.full((len(step), checks + 1), np.nan)
    for check in range(1, checks + 1):
        noise = world.size_noise * rng.standard_normal(len(step))
        off = edges.land(check * step * pace) - grown[:, check - 1] + noise
        made = sized & (off > CORRECTED_FROM)
        grown[:, check] = grown[:, check - 1] + np.where(made, off, 0.0)
        at[:, check] = np.where(made, check * step, at[:, check - 1])
    return grown, at


def cover_of_half_used(
    model: LifeModel, watched: Watched, laws: TrueLaws, told: Ablation
) -> Floats:
    """Shares [%] of edges inside their 50, 80, 90 % intervals, asked at half a median life."""
    check = round(0.5 / _STEP)
    age = check * watched.step
    rows = np.flatnonzero(watched.ends > age)
    signs = signs_of(
        watched.lot[rows], watched.grown[rows, check], watched.grown_at[rows, check], told
    )
    left = model.remaining(
        watched.key[rows], age[rows], watched.wear_per_part[rows], PROBS, signs
    )
    life = (watched.ends - age)[rows, None]
    inside = np.stack(
        [(left[:, a : a + 1] < life) & (life <= left[:, b : b + 1]) for a, b in ends_inside()]
    )
    shares: Floats = inside.mean(axis=(1, 2)) * 100
    return shares


@dataclass(frozen=True, slots=True)
class Run:
    """What swapping at the model's word came to.

    Attributes:
        cost: Cost per wear unit by key, shape (keys,).
        failures: Per 1,000 lives.
        used: Mean use over mean life.
    """

    cost: Floats
    failures: float
    used: float


def swap_by_model(model: LifeModel, keys: ShopKeys, watched: Watched, told: Ablation) -> Run:
    """Swap each edge at the age that the model gives, asked again after every correction."""
    key, planned = watched.key, keys.planned_cost[watched.key]
    failure = keys.failure_cost[key]

    def ages(rows: Ints, check: int) -> Floats:
        signs = signs_of(
            watched.lot[rows], watched.grown[rows, check], watched.grown_at[rows, check], told
        )
        if not told.signals and not told.lots:
            signs = NO_SIGNS
        age, _, _ = model.swap_age(
            key[rows], planned[rows], failure[rows], watched.wear_per_part[rows], signs
        )
        return age

    swap = ages(np.arange(len(key)), 0)
    going = np.ones(len(key), dtype=np.bool_)
    for check in range(1, watched.grown.shape[1] if told.signals else 1):
        now = check * watched.step
        going &= np.minimum(watched.ends, swap) > now
        news = watched.grown[:, check] != watched.grown[:, check - 1]
        rows = np.flatnonzero(going & news)
        if rows.size:
            swap[rows] = np.maximum(ages(rows, check), now[rows])
    return run_at(swap, keys, watched)


def run_at(swap: Floats, keys: ShopKeys, watched: Watched) -> Run:
    """Swap each edge at a given age, shape (edges,)."""
    key = watched.key
    fails = watched.ends <= swap
    use = np.minimum(watched.ends, swap)
    cost = np.where(fails, keys.failure_cost[key], keys.planned_cost[key])
    return Run(
        np.bincount(key, cost) / np.bincount(key, use),
        float(fails.mean() * 1000),
        float((np.bincount(key, use) / np.bincount(key, watched.ends)).mean()),
    )
