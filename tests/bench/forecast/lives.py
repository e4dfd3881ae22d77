"""Experiment: how good forecasts are after so many lives per key."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from tests.bench.forecast.predictor import Ablation, fit, table_of
from tests.bench.forecast.records import Records, keep_records
from tests.bench.forecast.scores import Score, best_share, score_ages, score_model
from tests.bench.forecast.truth import Floats, TrueLaws, true_laws
from tests.bench.forecast.worlds import ShopKeys, World, draw_keys

STAGES: Final = (0, 1, 2, 3, 5, 10, 20, 50)


@dataclass(frozen=True, slots=True)
class Shop:
    """One shop of a world: keys, their true laws, fixed counts and records.

    Attributes:
        keys: Its keys.
        laws: Their true laws.
        count: Fixed count from the handbook: the same share of every promise [wear units].
        known: Fixed count from long experience: each median to 15 %, the same share of it.
        kept: Records of ``STAGES[-1]`` lives per key.
    """

    keys: ShopKeys
    laws: TrueLaws
    count: Floats
    known: Floats
    kept: Records


def open_shop(world: World, seed: int, lives: int = STAGES[-1]) -> Shop:
    """Draw a shop of a world."""
    keys = draw_keys(world, seed)
    laws = true_laws(keys.truth)
    promise = np.ones(len(keys))
    guess = laws.median() * np.exp(
        0.15 * np.random.default_rng([seed, 3]).standard_normal(len(keys))
    )
    kept = keep_records(world, keys, lives, guess, seed)
    return Shop(
        keys,
        laws,
        promise * best_share(promise, keys, laws),
        guess * best_share(guess, keys, laws),
        kept,
    )


def first_lives(world: World, shop: Shop, stage: int, seed: int) -> Records:
    """The records after ``stage`` lives per key (unevenly spread where the world says so)."""
    many: Floats = np.full(len(shop.keys), float(stage))
    if world.uneven:
        weight = np.random.default_rng([seed, 4]).gamma(0.4, 1 / 0.4, len(shop.keys))
        many = np.floor(stage * weight)
    return shop.kept.take(shop.kept.order < many[shop.kept.key])


def after_lives(
    world: World, seed: int, told: Ablation, stages: tuple[int, ...] = STAGES
) -> dict[int, Score]:
    """Scores by lives per key."""
    shop = open_shop(world, seed)
    table = table_of(shop.keys)
    scores = {}
    for stage in stages:
        model = fit(table, first_lives(world, shop, stage, seed), told)
        scores[stage] = score_model(model, shop.keys, shop.laws)
    return scores


def by_count(world: World, seed: int) -> dict[str, tuple[float, float, float]]:
    """Failures, share used and cost of the two fixed counts and of the oracle."""
    shop = open_shop(world, seed, 1)
    keys, laws = shop.keys, shop.laws
    every = np.ones(len(keys), dtype=np.bool_)
    best = laws.best_age(keys.planned_cost, keys.failure_cost)
    return {
        "count, handbook": score_ages(shop.count, keys, laws, every),
        "count, experience": score_ages(shop.known, keys, laws, every),
        "oracle": score_ages(best, keys, laws, every),
    }


def without(world: World, *troubles: str) -> World:
    """The world with some of its troubles taken out."""
    calm = {
        "censoring": {"by_count": 0.0, "job_change": 0.0},
        "nights": {"night": 0.0},
        "silent turns": {"unlogged": 0.0},
        "boxes": {"lot_sd": 0.0},
        "chipping": {"chip": 1e-6},
    }
    changes = {name: value for t in troubles for name, value in calm[t].items()}
    return replace(world, **changes)  # type: ignore[arg-type]
