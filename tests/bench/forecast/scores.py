"""Scores of forecasts against the true laws: exact integrals, no luck of the draw in them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats
from crib.life.model import LifeModel
from tests.bench.forecast.predictor import swap_ages
from tests.bench.forecast.truth import TrueLaws
from tests.bench.forecast.worlds import ShopKeys

#: Ends of the 50, 80 and 90 % intervals, and the median.
PROBS: Final[Floats] = np.array([0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95])
_ENDS: Final = ((2, 4), (1, 5), (0, 6))


@dataclass(frozen=True, slots=True)
class Score:
    """How good the forecasts of one shop were.

    Attributes:
        cover50, cover80, cover90: Share of new edges inside the interval [%].
        half50, half80, half90: The same for edges at half of their key's median life.
        off: Mean absolute error of the median life [%].
        bias: Mean of ln(forecast median / true median) [%].
        failures: In-cut failures per 1,000 lives at the swap ages given.
        used: Share of the life that an edge would have had.
        cost: Cost per unit of use over that of who knows each key's law.
    """

    cover50: float
    cover80: float
    cover90: float
    half50: float
    half80: float
    half90: float
    off: float
    bias: float
    failures: float
    used: float
    cost: float


def score_model(
    model: LifeModel, keys: ShopKeys, laws: TrueLaws, rows: NDArray[np.bool_] | None = None
) -> Score:
    """Score a model on all keys, or on some."""
    some = np.ones(len(keys), dtype=np.bool_) if rows is None else rows
    every = np.arange(len(keys))
    median = laws.median()
    new = model.remaining(every, np.zeros(len(keys)), keys.wear_per_part, PROBS)
    half = model.remaining(every, median / 2, keys.wear_per_part, PROBS)
    inside = _inside(laws, np.zeros(len(keys)), new)[some].mean(axis=0) * 100
    later = _inside(laws, median / 2, half)[some].mean(axis=0) * 100
    error = np.log(new[:, 3] / median)[some]
    failures, used, cost = score_ages(swap_ages(model, keys), keys, laws, some)
    return Score(
        *inside.tolist(),
        *later.tolist(),
        float(np.abs(np.expm1(error)).mean() * 100),
        float(error.mean() * 100),
        failures,
        used,
        cost,
    )


def score_ages(
    age: Floats, keys: ShopKeys, laws: TrueLaws, some: NDArray[np.bool_]
) -> tuple[float, float, float]:
    """Failures per 1,000 lives, share of life used and cost over the oracle's."""
    planned, failure = keys.planned_cost, keys.failure_cost
    best = laws.cost_rate(laws.best_age(planned, failure), planned, failure)
    cost = laws.cost_rate(age, planned, failure)
    used = laws.mean_use(age) / laws.used[:, -1]
    return (
        float((1 - laws.survival(age))[some].mean() * 1000),
        float(used[some].mean()),
        float(cost[some].sum() / best[some].sum()),
    )


def ends_inside() -> tuple[tuple[int, int], ...]:
    """Places in ``PROBS`` where the 50, 80 and 90 % intervals begin and end."""
    return _ENDS


def _inside(laws: TrueLaws, age: Floats, ahead: Floats) -> Floats:
    alive = laws.survival(age)[:, None]
    later = laws.survival(age[:, None] + ahead) / alive
    return np.stack([later[:, low] - later[:, high] for low, high in _ENDS], axis=1)


def best_share(base: Floats, keys: ShopKeys, laws: TrueLaws) -> float:
    """The one share of ``base`` that costs the whole shop least when all edges go by it."""
    every = np.ones(len(keys), dtype=np.bool_)
    shares = np.geomspace(0.15, 2.0, 60)
    costs = [score_ages(share * base, keys, laws, every)[2] for share in shares]
    return float(shares[int(np.argmin(costs))])


def mean_score(scores: Iterable[Score]) -> Score:
    """Mean over seeds."""
    rows = [[getattr(score, f.name) for f in fields(Score)] for score in scores]
    return Score(*np.mean(rows, axis=0).tolist())
