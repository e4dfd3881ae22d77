"""How good forecasts of such a shop are after so many lives per key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from tests.bench.forecast.elsewhere.forecaster import (
    ByDraws,
    ByLaw,
    Forecaster,
    Learner,
)
from tests.bench.forecast.elsewhere.gauge import measured
from tests.bench.forecast.elsewhere.history import keep_history
from tests.bench.forecast.elsewhere.truth import Edges, Keys, draw_crowd, draw_keys
from tests.bench.forecast.elsewhere.worlds import World
from tests.bench.forecast.predictor import Ablation

STAGES: Final = (0, 1, 3, 5, 10, 20, 50)
PROBS: Final[Floats] = np.array([0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95])
_LOW, _MEDIAN, _HIGH = 1, 3, 5
#: Share of the law's own swap age at which edges are looked at.
_LOOK: Final = 0.7
_CROWD, _LAW, _LOOKED, _SWAPPED, _DRAWN = 1_500, 6_000, 40, 120, 1_500


@dataclass(frozen=True, slots=True)
class Figures:
    """How good one forecaster was in one shop.

    Of new edges, of half-used ones (half of the true median life behind them), and of
    half-used ones whose land was just measured. Coverage is of the 80 % interval and in per
    cent; loss is the pinball loss over that of one who knows each key's law.

    Attributes:
        new: Coverage, new edges.
        half: Coverage, half-used ones.
        looked: Coverage, looked ones.
        low_new: Share of new edges that end below the told 10 % point [%].
        low_half: The same of half-used ones.
        low_looked: The same of looked ones.
        bias: Mean of ln(told median / true median), new edges [%].
        shape: True over told spread of ln life from 10 to 90 %: told over true shape.
        loss_new: Loss, new edges.
        loss_half: Loss, half-used edges.
        loss_looked: Loss, looked ones.
        least: Loss of one who also knows the melts of the week, new edges.
        cost: Cost per use of swapping new edges at the told age over that of the law's.
        cost_looked: The same where every edge is looked at once, after 0.7 of the law's age,
            unless it was to be swapped before, and then swapped by what is told of it.
        least_looked: That of one who knows the law and reads the land as it was made.
    """

    new: float
    half: float
    looked: float
    low_new: float
    low_half: float
    low_looked: float
    bias: float
    shape: float
    loss_new: float
    loss_half: float
    loss_looked: float
    least: float
    cost: float
    cost_looked: float
    least_looked: float


@dataclass(frozen=True, slots=True)
class Crowd:
    """Edges that are asked about, arrays of shape (edges,).

    Attributes:
        key: Row of the keys.
        age: Use behind them.
        left: Use that they have left.
        land: Land measured at that age; None: none was.
        usual: Median life of the key, in which losses are counted.
    """

    key: Ints
    age: Floats
    left: Floats
    land: Floats | None
    usual: Floats


@dataclass(frozen=True, slots=True)
class Swapped:
    """Edges that are swapped at somebody's word, shape (keys, edges).

    Attributes:
        ends: Use at which each fails.
        look: Use at which it is looked at, if it gets there.
        land: Land that is measured then.
        reader: Knows each key's law, and how lands are measured.
    """

    ends: Floats
    look: Floats
    land: Floats
    reader: ByDraws

    def dearer(self, one: Forecaster, keys: Keys) -> float:
        """Cost of swapping after looks over that of the same one's word for new edges."""
        new = np.broadcast_to(one.swap_ages()[:, None], self.ends.shape)
        looked = (self.ends > self.look) & (new > self.look)
        key = np.nonzero(looked)[0]
        swap = new.copy()
        swap[looked] = one.swap_looked(key, self.look[looked], self.land[looked])
        return float((self._rate(swap, keys) / self._rate(new, keys)).mean())

    def _rate(self, swap: Floats, keys: Keys) -> Floats:
        fails = self.ends <= swap
        cost = np.where(fails, keys.failure_cost[:, None], keys.planned_cost[:, None])
        rate: Floats = cost.sum(axis=1) / np.minimum(self.ends, swap).sum(axis=1)
        return rate


@dataclass(frozen=True, slots=True)
class Asked:
    """What forecasters of one shop are held against at one time.

    Attributes:
        law: Knows each key's law, but not the melts.
        now: Knows the melts as well.
        new: New edges.
        half: Half-used ones.
        looked: Half-used ones that were looked at.
        swapped: Edges of every key that are swapped at somebody's word.
    """

    law: ByLaw
    now: ByLaw
    new: Crowd
    half: Crowd
    looked: Crowd
    swapped: Swapped

    @property
    def reader(self) -> ByDraws:
        """Knows the law and reads lands as they were made."""
        return self.swapped.reader


def after_lives(
    world: World,
    seed: int,
    told: Ablation,
    stages: tuple[int, ...] = STAGES,
    keys: int = 24,
) -> dict[int, Figures]:
    """Figures of the life model by lives per key."""
    shop = draw_keys(world, seed, keys)
    history = keep_history(world, shop, max(*stages, 1), seed)
    learner = Learner(shop, told)
    return {
        stage: figures(learner.learn(history.kept, stage), ask(world, shop, stage, seed))
        for stage in stages
    }


def ask(world: World, keys: Keys, week: float, seed: int) -> Asked:
    """Draw what forecasts made in a week are held against."""
    rng = np.random.default_rng([seed, 105, int(week)])
    laws = (draw_crowd(world, keys, _LAW, week, rng, melts_known=k).ends for k in (False, True))
    law, now = (ByLaw(np.sort(ends, axis=1), keys) for ends in laws)
    edges = draw_crowd(world, keys, _CROWD, week, rng, melts_known=True)
    ends, usual = edges.ends, np.median(now.lives, axis=1)
    half = np.broadcast_to(usual[:, None] / 2, ends.shape)
    land = measured(world, edges.land(half), rng)
    key = np.broadcast_to(np.arange(len(keys))[:, None], ends.shape)
    alive = ends > half
    some = alive & (np.cumsum(alive, axis=1) <= _LOOKED)

    drawn = draw_crowd(world, keys, _DRAWN, week, rng, melts_known=False)

    def crowd(rows: np.ndarray[tuple[int, int], np.dtype[np.bool_]], at: Floats) -> Crowd:
        return Crowd(key[rows], at[rows], (ends - at)[rows], None, usual[key[rows]])

    looked = crowd(some, half)
    return Asked(
        law,
        now,
        crowd(np.ones_like(alive), np.zeros(ends.shape)),
        crowd(alive, half),
        Crowd(looked.key, looked.age, looked.left, land[some], looked.usual),
        _swapped(world, edges, usual, law, drawn, rng),
    )


def _swapped(
    world: World,
    edges: Edges,
    usual: Floats,
    law: ByLaw,
    drawn: Edges,
    rng: np.random.Generator,
) -> Swapped:
    """The first edges of every key, looked at well before the law would swap them."""
    ends = edges.ends[:, :_SWAPPED]
    look = np.minimum(_LOOK * law.swap_ages(), usual)
    land = edges.land(np.broadcast_to(look[:, None], edges.ends.shape))[:, :_SWAPPED]
    seen = measured(world, land, rng)
    return Swapped(
        ends, np.broadcast_to(look[:, None], ends.shape), seen, ByDraws(drawn, law.keys, world)
    )


def figures(one: Forecaster, asked: Asked) -> Figures:
    """Score a forecaster."""
    told = [_left(one, crowd) for crowd in (asked.new, asked.half, asked.looked)]
    law = [_left(asked.law, crowd) for crowd in (asked.new, asked.half, asked.looked)]
    crowds = (asked.new, asked.half, asked.looked)
    covers = [_share((t[:, _LOW] < c.left) & (c.left <= t[:, _HIGH]))
              for t, c in zip(told, crowds, strict=True)]  # fmt: skip
    lows = [_share(c.left <= t[:, _LOW]) for t, c in zip(told, crowds, strict=True)]
    losses = [_loss(t, c) / _loss(k, c) for t, c, k in zip(told, crowds, law, strict=True)]
    now = _left(asked.now, asked.new)
    every, zero = np.arange(len(asked.law.lives)), np.zeros(len(asked.law.lives))
    mine, true = one.left(every, zero, PROBS), asked.now.left(every, zero, PROBS)
    best = asked.now.cost_rate(asked.law.swap_ages())
    cost = float((asked.now.cost_rate(one.swap_ages()) / best).mean())
    return Figures(
        *covers,
        *lows,
        float(np.log(mine[:, _MEDIAN] / true[:, _MEDIAN]).mean() * 100),
        float(np.median(_spread(true) / _spread(mine))),
        *losses,
        _loss(now, asked.new) / _loss(law[0], asked.new),
        cost,
        # The same edges with and without looks, so that their luck is in neither figure.
        cost * asked.swapped.dearer(one, asked.law.keys),
        asked.swapped.dearer(asked.reader, asked.law.keys),
    )


def _left(one: Forecaster, crowd: Crowd) -> Floats:
    """What is told of every edge; those of one key and age without a look share an answer."""
    if crowd.land is not None:
        return one.left(crowd.key, crowd.age, PROBS, crowd.land)
    key, first = np.unique(crowd.key, return_index=True)
    return one.left(key, crowd.age[first], PROBS)[np.searchsorted(key, crowd.key)]


def _share(rows: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> float:
    return float(rows.mean() * 100)


def _loss(told: Floats, crowd: Crowd) -> float:
    off = crowd.left[:, None] - told
    loss = np.maximum(PROBS * off, (PROBS - 1) * off)
    return float((loss / crowd.usual[:, None]).mean())


def _spread(quantiles: Floats) -> Floats:
    spread: Floats = np.log(quantiles[:, _HIGH] / quantiles[:, _LOW])
    return spread
