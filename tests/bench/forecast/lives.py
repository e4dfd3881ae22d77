"""Experiment: how good forecasts are after so many lives per key."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.model import LifeModel
from tests.bench.forecast.predictor import PLAIN, Ablation, Shown, fit, table_of
from tests.bench.forecast.records import Records, keep_records
from tests.bench.forecast.scores import Score, best_share, score_ages, score_model
from tests.bench.forecast.truth import TrueLaws, true_laws
from tests.bench.forecast.watched import (
    cover_of_half_used,
    draw_watched,
    swap_by_model,
)
from tests.bench.forecast.worlds import ShopKeys, World, draw_keys

STAGES: Final = (0, 1, 2, 3, 5, 10, 20, 50)
_SEVERAL: Final = 10


@dataclass(frozen=True, slots=True)
class Shop:
    """One shop of a world: keys, their true laws, fixed counts and records.

    Attributes:
        keys: Its keys.
        laws: Their true laws.
        count: Fixed count from the handbook: the same share of every promise [wear units].
        known: Fixed count from long experience: each median to 15 %, the same share of it.
        kept: Records of more lives per key than are asked for.
        effect: Effect of each box.
    """

    keys: ShopKeys
    laws: TrueLaws
    count: Floats
    known: Floats
    kept: Records
    effect: Floats


def open_shop(world: World, seed: int, lives: int = STAGES[-1]) -> Shop:
    """Draw a shop of a world."""
    keys = draw_keys(world, seed)
    laws = true_laws(keys.truth)
    promise = np.ones(len(keys))
    guess = laws.median() * np.exp(
        0.15 * np.random.default_rng([seed, 3]).standard_normal(len(keys))
    )
    kept, effect = keep_records(world, keys, lives + 1, guess, seed)
    return Shop(
        keys,
        laws,
        promise * best_share(promise, keys, laws),
        guess * best_share(guess, keys, laws),
        kept,
        effect,
    )


def lives_had(world: World, shop: Shop, stage: int, seed: int) -> Ints:
    """Lives of each key after ``stage`` per key (unevenly spread where the world says so)."""
    if not world.uneven:
        return np.full(len(shop.keys), stage)
    weight = np.random.default_rng([seed, 4]).gamma(0.4, 1 / 0.4, len(shop.keys))
    most = int(shop.kept.order.max())
    return np.minimum(np.floor(stage * weight).astype(np.int64), most)


@dataclass(frozen=True, slots=True)
class Stage:
    """Scores at one stage.

    Attributes:
        score: Of the model's word on edges of which nothing is known.
        half: Coverage [%] of half-used edges by what is known of each.
        failures: Per 1,000 lives when every edge is swapped by what is known of it.
        used: Share of life used then.
        cost: Cost over the oracle's then.
        strangers: Score on the keys that have no lives of their own, if they are several.
    """

    score: Score
    half: Floats
    failures: float
    used: float
    cost: float
    strangers: Score | None = None


def after_lives(
    world: World,
    seed: int,
    told: Ablation,
    stages: tuple[int, ...] = STAGES,
    watch: bool = True,
) -> dict[int, Stage]:
    """Scores by lives per key; forecasts are held against the lives up to the next stage."""
    shop = open_shop(world, seed, stages[-1])
    keys, kept = shop.keys, shop.kept
    table, shown = table_of(keys), Shown(len(keys))
    had = [lives_had(world, shop, stage, seed) for stage in stages]
    scores = {}
    for number, stage in enumerate(stages):
        wide = shown.widening() if told.widening else np.ones(len(keys))
        model = fit(table, kept.take(kept.order < had[number][kept.key]), told, wide)
        scores[stage] = _stage(world, shop, model, told, had[number], seed, watch)
        if number + 1 < len(stages):
            basis = model.basis(np.arange(len(keys)))
            after = kept.order >= had[number][kept.key]
            later = kept.take(after & (kept.order < had[number + 1][kept.key]))
            row = later.key
            shown.happened(
                later, basis.life_p10[row], basis.life_p50[row], basis.life_p90[row], wide[row]
            )
    return scores


def _stage(
    world: World,
    shop: Shop,
    model: LifeModel,
    told: Ablation,
    had: Ints,
    seed: int,
    watch: bool,
) -> Stage:
    keys = shop.keys
    score = score_model(model, keys, shop.laws)
    if not watch:
        half = np.array([score.half50, score.half80, score.half90])
        return Stage(score, half, score.failures, score.used, score.cost)
    none = had == 0
    strangers = score_model(model, keys, shop.laws, none) if none.sum() >= _SEVERAL else None
    at = np.minimum(had, shop.kept.order.max())
    order = np.lexsort((shop.kept.order, shop.kept.key))
    per_key = int(shop.kept.order.max()) + 1
    lot = shop.kept.lot[order].reshape(-1, per_key)[np.arange(len(keys)), at]
    watched = draw_watched(world, keys, shop.laws, lot, shop.effect, seed)
    by_signs = swap_by_model(model, keys, watched, told)
    blind = swap_by_model(model, keys, watched, replace(PLAIN, lots=False))
    gain = float(by_signs.cost.sum() / blind.cost.sum())
    return Stage(
        score,
        cover_of_half_used(model, watched, shop.laws, told),
        score.failures * by_signs.failures / max(blind.failures, 1e-9),
        score.used * by_signs.used / blind.used,
        score.cost * gain,
        strangers,
    )


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
