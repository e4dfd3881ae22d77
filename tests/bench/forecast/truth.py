"""How edges of the simulated shops really wear and chip; nothing of the predictor is used.

The worn land, as a share of its limit, runs in fast, grows steadily and runs away:
``land(y) = b (1 - exp(-y / 0.06)) + 0.62 y + d y^9``. Every edge has its own ``b``, ``d`` and
pace, so the end of life is neither Weibull nor lognormal. Chipping comes per part, and more
often to the few edges that were seated badly. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from crib.arrays import Floats, Ints

_RUN_IN, _STEADY, _AWAY, _POWER, _SOON = 0.20, 0.62, 0.18, 9, 0.06
_RUN_IN_SD, _AWAY_SD = 0.30, 0.50
#: Badly seated edges chip within about this share of a usual life.
_EARLY: Final = 0.06
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


def land_of(y: Floats, run_in: Floats, away: Floats) -> Floats:
    """Worn land over its limit after ``y`` lives of a usual edge."""
    grown: Floats = run_in * -np.expm1(-y / _SOON) + _STEADY * y + away * y**_POWER
    return grown


def end_of_wear(run_in: Floats, away: Floats) -> Floats:
    """``y`` at which the land reaches its limit, by halving."""
    low, high = np.zeros_like(run_in), np.full_like(run_in, 1.7)
    for _ in range(45):
        middle = (low + high) / 2
        over = land_of(middle, run_in, away) > 1
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return (low + high) / 2


_USUAL: Final = float(end_of_wear(np.array([_RUN_IN]), np.array([_AWAY]))[0])


@dataclass(frozen=True, slots=True)
class TrueKeys:
    """What nobody in the shop knows of each key, arrays of shape (keys,) or (keys, jobs).

    Attributes:
        life: Life of a usual edge [wear units that the handbook promises].
        edge_sd: Spread of the pace from edge to edge [ln].
        weak: Share of edges seated badly.
        chip_per_part: Chance per part that a good edge chips.
        job_wear: Wear per part of each job as the shop reckons it, shape (keys, jobs).
        job_factor: True wear of a job over the reckoned one, shape (keys, jobs).
        lot_sd: Spread from box to box [ln], one number.
    """

    life: Floats
    edge_sd: Floats
    weak: Floats
    chip_per_part: Floats
    job_wear: Floats
    job_factor: Floats
    lot_sd: float

    def __len__(self) -> int:
        return len(self.life)


@dataclass(frozen=True, slots=True)
class Edges:
    """Real edges, arrays of shape (edges,).

    Attributes:
        key: Row of the keys.
        stands: True wear that it takes until the land reaches its limit.
        chips_after: Parts after which it chips.
        run_in: ``b`` of its land.
        away: ``d`` of its land.
        end: ``y`` at the limit.
    """

    key: Ints
    stands: Floats
    chips_after: Floats
    run_in: Floats
    away: Floats
    end: Floats

    def land(self, used: Floats) -> Floats:
        """Worn land over its limit after true wear ``used``."""
        return land_of(self.end * np.minimum(used / self.stands, 1.25), self.run_in, self.away)

    def take(self, rows: NDArray[np.bool_] | Ints) -> Edges:
        """Some of them."""
        return Edges(
            self.key[rows],
            self.stands[rows],
            self.chips_after[rows],
            self.run_in[rows],
            self.away[rows],
            self.end[rows],
        )


def draw_edges(
    keys: TrueKeys, key: Ints, lot_effect: Floats, rng: np.random.Generator
) -> Edges:
    """Fresh edges out of boxes whose effect on ln life is given, shape (edges,)."""
    count = len(key)
    run_in = _RUN_IN * np.exp(_RUN_IN_SD * rng.standard_normal(count))
    away = _AWAY * np.exp(_AWAY_SD * rng.standard_normal(count))
    end = end_of_wear(run_in, away)
    pace = keys.edge_sd[key] * rng.standard_normal(count) + lot_effect
    stands = keys.life[key] * end / _USUAL * np.exp(pace)
    with np.errstate(divide="ignore"):
        good = rng.exponential(size=count) / keys.chip_per_part[key]
    early = rng.exponential(size=count) * _EARLY * keys.life[key] / keys.job_wear[key, 0]
    weak = rng.random(count) < keys.weak[key]
    return Edges(key, stands, np.where(weak, np.minimum(early, good), good), run_in, away, end)


@dataclass(frozen=True, slots=True)
class TrueLaws:
    """Each key's law of life as tables, for who knows everything but the single edge.

    Ages in reckoned wear units over a mix of the key's jobs; the box is unknown.

    Attributes:
        ages: Shape (keys, nodes), rising.
        alive: Chance to outlive them.
        used: Mean wear units taken by then, ``integral of alive``.
    """

    ages: Floats
    alive: Floats
    used: Floats

    def survival(self, age: Floats) -> Floats:
        """Chance to outlive an age; age (keys,) or (keys, columns)."""
        return _by_row(age, self.ages, self.alive, 1.0)

    def mean_use(self, age: Floats) -> Floats:
        """Mean of the smaller of life and age."""
        return _by_row(age, self.ages, self.used, None)

    def median(self) -> Floats:
        """Median life of each key."""
        rows = zip(self.alive[:, ::-1], self.ages[:, ::-1], strict=True)
        return np.array([np.interp(0.5, alive, ages) for alive, ages in rows])

    def cost_rate(self, age: Floats, planned: Floats, failure: Floats) -> Floats:
        """Cost per wear unit of swapping at an age, shape (keys,)."""
        alive = self.survival(age)
        rate: Floats = (planned * alive + failure * (1 - alive)) / self.mean_use(age)
        return rate

    def best_age(self, planned: Floats, failure: Floats) -> Floats:
        """Age of least cost, by looking at every node."""
        rate = (planned[:, None] * self.alive + failure[:, None] * (1 - self.alive)) / self.used
        best: Floats = self.ages[np.arange(len(rate)), np.argmin(rate, axis=1)]
        return best


def true_laws(keys: TrueKeys, nodes: int = 900) -> TrueLaws:
    """Integrate the truth over edges, boxes and jobs (Gauss-Hermite over ``b`` and ``d``)."""
    b, d = np.meshgrid(_NODES, _NODES)
    weight = np.outer(_NODE_WEIGHTS, _NODE_WEIGHTS).ravel()
    weight = weight / weight.sum()
    end = end_of_wear(
        _RUN_IN * np.exp(_RUN_IN_SD * b.ravel()), _AWAY * np.exp(_AWAY_SD * d.ravel())
    )
    reach = np.geomspace(2e-4, 14.0, nodes)
    ages = keys.life[:, None] * reach
    sd = np.sqrt(keys.edge_sd**2 + keys.lot_sd**2)[:, None]
    alive = np.zeros_like(ages)
    jobs = keys.job_wear.shape[1]
    for job in range(jobs):
        log_true = np.log(reach * keys.job_factor[:, job, None])
        standing = np.zeros_like(ages)
        for w, ln_end in zip(weight, np.log(end / _USUAL), strict=True):
            if w > 1e-5:
                standing += w * ndtr((ln_end - log_true) / sd)
        parts = ages / keys.job_wear[:, job, None]
        early = _EARLY * keys.life / keys.job_wear[:, 0]
        seated = 1 + keys.weak[:, None] * np.expm1(-parts / early[:, None])
        alive += (
            standing / standing[:, :1]
            * seated * np.exp(-parts * keys.chip_per_part[:, None]) / jobs
        )  # fmt: skip
    steps = np.diff(ages, axis=1) * (alive[:, 1:] + alive[:, :-1]) / 2
    used = np.cumsum(np.concatenate([ages[:, :1], steps], axis=1), axis=1)
    return TrueLaws(ages, alive, used)


def _by_row(age: Floats, ages: Floats, values: Floats, left: float | None) -> Floats:
    """Straight lines through each row's table; below its first node ``left``, or to 0."""
    wide = age if age.ndim == 2 else age[:, None]
    result = np.empty(wide.shape)
    for row, at in enumerate(wide):
        result[row] = np.interp(at, ages[row], values[row], left=left)
        if left is None:
            result[row] = np.where(at < ages[row, 0], at, result[row])
    return result if age.ndim == 2 else result[:, 0]
