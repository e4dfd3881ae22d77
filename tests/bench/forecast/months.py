"""Experiment: a shop over 300 days under the planner, under fixed counts, under an oracle."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats, Ints
from tests.bench.forecast.floor import Floor, Policy, run_floor
from tests.bench.forecast.planner import Planner
from tests.bench.forecast.plant import Plant, build_plant
from tests.bench.forecast.policies import ByCount
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.scores import best_share
from tests.bench.forecast.truth import true_laws
from tests.bench.forecast.worlds import World

DAYS: Final = 300
#: How much dearer a failure may be when nobody is there to see it (a box of bad parts).
DARK_TIMES: Final = 3.0

HANDBOOK, EXPERIENCE, ORACLE = "count, handbook", "count, experience", "oracle's ages"
PLANNER, NO_SIGNALS, NO_NIGHT_RULE = "planner", "planner, no signals", "planner, no night rule"
POLICIES: Final = (HANDBOOK, EXPERIENCE, ORACLE, PLANNER, NO_SIGNALS, NO_NIGHT_RULE)


@dataclass(frozen=True, slots=True)
class Months:
    """What came of one policy in one shop.

    Attributes:
        cost: Cost by station, shape (stations,).
        dark_cost: Cost of the failures with nobody there, likewise.
        use: Wear units of good parts, likewise.
        failures: In-cut failures, likewise.
        lives: Edges that came out, likewise.
        lived: Sum of shares of life used, likewise.
        hurt: Whether an edge failed, shape (nights, machines).
        foreseen: Chance of it as forecast, likewise; NaN under a policy without forecasts.
        limit: Chance that was asked for.
        over_promise: Life of a usual edge over the handbook's, shape (stations,).
    """

    cost: Floats
    dark_cost: Floats
    use: Floats
    failures: Ints
    lives: Ints
    lived: Floats
    hurt: NDArray[np.bool_]
    foreseen: Floats
    limit: float
    over_promise: Floats


def live_through(world: World, seed: int, policy: str, days: int = DAYS) -> Months:
    """Run one policy in one shop."""
    plant = build_plant(replace(world, night=round(world.night * 24) / 24), seed, days)
    chosen = _policy(plant, seed, policy)
    floor = Floor(plant, seed)
    nights = run_floor(floor, chosen)
    hurt = np.array([row for _, row in nights])
    foreseen = np.full(hurt.shape, np.nan)
    if isinstance(chosen, Planner):
        foreseen = np.array([[n.with_swaps for n in chosen.nights[day]] for day, _ in nights])
    tally = floor.tally
    return Months(
        tally.cost,
        tally.dark * plant.keys.failure_cost,
        tally.use,
        tally.failures,
        tally.lives,
        tally.lived,
        hurt,
        foreseen,
        chosen.limit if isinstance(chosen, Planner) else np.nan,
        plant.keys.truth.life,
    )


def _policy(plant: Plant, seed: int, name: str) -> Policy:
    keys = plant.keys
    if name == PLANNER:
        return Planner(plant, Ablation())
    if name == NO_SIGNALS:
        return Planner(plant, Ablation(signals=False))
    if name == NO_NIGHT_RULE:
        return Planner(plant, Ablation(), limit=1.0)
    laws = true_laws(keys.truth)
    if name == ORACLE:
        return ByCount(laws.best_age(keys.planned_cost, keys.failure_cost))
    base = np.ones(len(keys))
    if name == EXPERIENCE:
        noise = np.random.default_rng([seed, 3]).standard_normal(len(keys))
        base = laws.median() * np.exp(0.15 * noise)
    return ByCount(base * best_share(base, keys, laws))


def live_through_all(
    pool: Executor,
    worlds: Sequence[World],
    seeds: Sequence[int],
    policies: Sequence[str],
    days: int = DAYS,
) -> dict[tuple[str, str], list[Months]]:
    """Every policy in every shop, side by side in processes; by world and policy."""
    cases = [
        (world, seed, name, days) for world in worlds for name in policies for seed in seeds
    ]
    results = pool.map(live_through, *zip(*cases, strict=True))
    found: dict[tuple[str, str], list[Months]] = {}
    for (world, _, name, _), months in zip(cases, results, strict=True):
        found.setdefault((world.name, name), []).append(months)
    return found


def cost_ratios(ours: Sequence[Months], theirs: Sequence[Months], dark: float = 1.0) -> Floats:
    """Cost per unit of use over another policy's, by seed."""

    def rate(m: Months) -> float:
        return float((m.cost + (dark - 1) * m.dark_cost).sum() / m.use.sum())

    return np.array([rate(a) / rate(b) for a, b in zip(ours, theirs, strict=False)])


def by_decile(ours: Sequence[Months], theirs: Sequence[Months]) -> Floats:
    """The same in tenths of the keys, from those that live far shorter than promised up."""
    order = np.argsort(np.concatenate([m.over_promise for m in ours]), kind="stable")

    def rates(rows: Sequence[Months]) -> list[float]:
        cost = np.concatenate([m.cost for m in rows])[order]
        use = np.concatenate([m.use for m in rows])[order]
        parts = zip(np.array_split(cost, 10), np.array_split(use, 10), strict=True)
        return [float(c.sum() / u.sum()) for c, u in parts]

    return np.array(rates(ours)) / np.array(rates(theirs))
