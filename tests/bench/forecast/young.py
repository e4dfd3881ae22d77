"""Experiment: a young shop whose edges live longer than promised, before and as they end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.fitting import fit_life_model
from crib.life.model import LifeModel
from crib.life.observations import CENSORED, WORN, life_histories
from crib.life.running import counted_wear
from crib.life.signs import edge_signs
from tests.bench.forecast.predictor import table_of
from tests.bench.forecast.truth import TrueLaws, draw_edges, true_laws
from tests.bench.forecast.worlds import World, draw_keys

#: Wear that every station has made when forecasts are asked for [promised lives].
MOMENTS: Final = (0.3, 0.6, 0.9, 1.3, 1.8, 2.5, 4.0)
_STATIONS: Final = 8
_DEPTH: Final = 30


@dataclass(frozen=True, slots=True)
class Young:
    """Medians told over true ones, by moment, geometric means over the stations.

    Attributes:
        ended: Edges that had ended, shape (moments,).
        new: Life of a new edge.
        left: Life left of the edges in the stations.
    """

    ended: Ints
    new: Floats
    left: Floats


def young_shop(seed: int, times: float, *, one_key: bool, running: bool) -> Young:
    """Run eight stations from new until their edges are worn, and ask along the way.

    Args:
        seed: The shop.
        times: Usual life over the promised one.
        one_key: Whether all stations take edges of one key, or each of its own.
        running: Whether the model is told of edges that still cut.
    """
    keys = draw_keys(World("young", keys=_STATIONS, structure=0.5, lot_sd=0.0, chip=0.0), seed)
    row = np.zeros(_STATIONS, dtype=np.int64) if one_key else np.arange(_STATIONS)
    truth = replace(keys.truth, life=keys.truth.life * times)
    laws, table, rng = true_laws(truth), table_of(keys), np.random.default_rng([seed, 9])
    edges = draw_edges(truth, np.repeat(row, _DEPTH), np.zeros(_STATIONS * _DEPTH), rng)
    ends = np.cumsum(edges.stands.reshape(_STATIONS, _DEPTH), axis=1)
    rate = keys.wear_per_part[row]
    ended, new, left = [], [], []
    for moment in MOMENTS:
        done = ends <= moment
        begun = np.where(done.any(axis=1), np.max(np.where(done, ends, 0.0), axis=1), 0.0)
        age = moment - begun
        lives = np.diff(ends, axis=1, prepend=0.0)[done]
        station = np.nonzero(done)[0]
        order = np.argsort(ends[done])
        told = life_histories(
            row[station[order]],
            lives[order],
            np.rint(lives / rate[station])[order],
            np.full(len(lives), WORN),
        )
        counted = counted_wear(age)
        on = np.flatnonzero(counted)
        still = life_histories(
            row[on], counted[on], np.rint(counted / rate)[on], np.full(len(on), CENSORED)
        )
        model = fit_life_model(table, told, running=still if running else None)
        own = np.full(_STATIONS, -1)
        own[on] = np.arange(len(on)) if running else -1
        ended.append(len(lives))
        new.append(_over(_medians(model, row, 0 * age, rate, own), _true(laws, row, 0 * age)))
        left.append(_over(_medians(model, row, age, rate, own), _true(laws, row, age)))
    return Young(np.array(ended), np.array(new), np.array(left))


def _medians(model: LifeModel, row: Ints, age: Floats, rate: Floats, own: Ints) -> Floats:
    mine = edge_signs(own=np.where(age > 0, own, -1))
    return model.remaining(row, age, rate, 0.5, mine)[:, 0]


def _true(laws: TrueLaws, row: Ints, age: Floats) -> Floats:
    """Median of the life left by the law of each key."""
    found = []
    for key, now in zip(row.tolist(), age.tolist(), strict=True):
        half = np.interp(now, laws.ages[key], laws.alive[key]) / 2
        found.append(np.interp(-half, -laws.alive[key], laws.ages[key]) - now)
    return np.array(found)


def _over(told: Floats, true: Floats) -> float:
    return float(np.exp(np.mean(np.log(told / true))))
