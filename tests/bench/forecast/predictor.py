"""The only place where the benchmark meets the life model under test."""

from __future__ import annotations

import inspect
from dataclasses import dataclass
from typing import Any

import numpy as np

from crib.life.model import LifeModel, fit_life_model
from crib.life.observations import life_histories
from crib.life.pooling import KeyTable, key_table
from tests.bench.forecast.records import Records
from tests.bench.forecast.truth import Floats, Ints
from tests.bench.forecast.worlds import ShopKeys

#: What the model is told of the handbook's error, in every world.
TOLD_SD = 0.4

_TAKES = set(inspect.signature(life_histories).parameters)
KNOWS_NIGHTS = "since" in _TAKES
KNOWS_SIGNALS = "seen_share" in _TAKES


@dataclass(frozen=True, slots=True)
class Ablation:
    """What of the records the model is given."""

    signals: bool = True
    lots: bool = True
    nights: bool = True


def table_of(keys: ShopKeys) -> KeyTable:
    """The key table as the shop would fill it."""
    return key_table(
        keys.item, keys.grade, keys.operation, keys.material, prior_mean=0.0, prior_sd=TOLD_SD
    )


def fit(
    table: KeyTable, kept: Records, told: Ablation, widening: Floats | None = None
) -> LifeModel:
    """Fit the model to records, with as much of them as it takes and is told."""
    more: dict[str, Any] = {}
    if "lot" in _TAKES and told.lots:
        more["lot"] = kept.lot
    if KNOWS_NIGHTS and told.nights:
        more["since"] = kept.since
    if KNOWS_SIGNALS and told.signals:
        more["seen_share"] = kept.seen_share
        more["seen_kind"] = kept.seen_kind
    histories = life_histories(kept.key, kept.wear, kept.parts, kept.ended, **more)
    if widening is not None:
        return fit_life_model(table, histories, widening=widening)
    return fit_life_model(table, histories)


def quantiles(
    model: LifeModel, key: Ints, age: Floats, wear_per_part: Floats, probs: Floats
) -> Floats:
    """Wear units ahead, shape (edges, probs)."""
    return model.remaining(key, age, wear_per_part, probs)


def swap_ages(model: LifeModel, keys: ShopKeys) -> Floats:
    """Age of least cost of every key, for an edge of which nothing was seen."""
    age, _, _ = model.swap_age(
        np.arange(len(keys)), keys.planned_cost, keys.failure_cost, keys.wear_per_part
    )
    return age
