"""Where the benchmark meets the life model under test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.fitting import fit_life_model
from crib.life.model import LifeModel
from crib.life.observations import LifeHistories, life_histories
from crib.life.pooling import KeyTable, key_table
from crib.life.signs import EdgeSigns, edge_signs
from crib.life.widening import shown_lives, widening
from tests.bench.forecast.records import BROKEN, CENSORED, SIZE_SEEN, Records
from tests.bench.forecast.worlds import ShopKeys

#: What the model is told of the handbook's error, in every world.
TOLD_SD = 0.4


@dataclass(frozen=True, slots=True)
class Ablation:
    """What of the records the model is given."""

    signals: bool = True
    lots: bool = True
    nights: bool = True
    widening: bool = True
    running: bool = True


PLAIN = Ablation(signals=False)
"""Without wear lands and size corrections."""


def table_of(keys: ShopKeys) -> KeyTable:
    """The key table as the shop would fill it."""
    return key_table(
        keys.item, keys.grade, keys.operation, keys.material, prior_mean=0.0, prior_sd=TOLD_SD
    )


def fit(
    table: KeyTable,
    kept: Records,
    told: Ablation,
    widened: Floats | None = None,
    running: LifeHistories | None = None,
) -> LifeModel:
    """Fit the model to records and running edges, with as much of them as it is told."""
    more: dict[str, Any] = {}
    if told.lots:
        more["lot"] = kept.lot
    if told.nights:
        more["since"] = kept.since
    if told.signals:
        more["seen_share"] = kept.seen_share
        more["seen_at"] = kept.seen_at
        more["seen_kind"] = kept.seen_kind
    histories = life_histories(kept.key, kept.wear, kept.parts, kept.ended, **more)
    return fit_life_model(
        table,
        histories,
        widening=widened if told.widening else None,
        running=running if told.running else None,
    )


def signs_of(lot: Ints, grown: Floats, grown_at: Floats, told: Ablation) -> EdgeSigns:
    """Signs of mounted edges: their boxes, and their size corrections so far."""
    seen = np.isfinite(grown_at) & told.signals
    return edge_signs(
        lot if told.lots else np.full(len(lot), -1),
        np.where(seen, grown, np.nan),
        np.where(seen, grown_at, np.nan),
        np.where(seen, SIZE_SEEN, 0),
    )


def swap_ages(model: LifeModel, keys: ShopKeys) -> Floats:
    """Age of least cost of every key, for an edge of which nothing is known."""
    age, _, _ = model.swap_age(
        np.arange(len(keys)), keys.planned_cost, keys.failure_cost, keys.wear_per_part
    )
    return age


class Shown:
    """Forecasts that were shown of edges when they were new, and what then happened.

    Args:
        keys: Number of keys.
    """

    def __init__(self, keys: int) -> None:
        self._keys = keys
        self._rows: list[Floats] = []

    def happened(
        self, kept: Records, p10: Floats, p50: Floats, p90: Floats, wide: Floats
    ) -> None:
        """Note lives and what was shown of each, arrays of shape (lives,)."""
        known = np.where(np.isfinite(kept.since), kept.since, kept.wear)
        never = (kept.ended == BROKEN) | (kept.ended == CENSORED)
        since = np.where(kept.ended == CENSORED, kept.wear, known)
        wear = np.where(never, np.inf, kept.wear)
        zero = np.zeros(len(kept))
        rows = np.stack([kept.key.astype(np.float64), p10, p50, p90, wide, zero, since, wear])
        self._rows.append(rows)

    def widening(self) -> Floats:
        """Factor by which to widen each key's lives, shape (keys,)."""
        rows = np.concatenate(self._rows, axis=1) if self._rows else np.empty((8, 0))
        return widening(shown_lives(rows[0].astype(np.int64), *rows[1:]), self._keys)
