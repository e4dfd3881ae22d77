"""Where these shops meet the life model under test, and one who knows each key's law."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.model import LifeModel
from crib.life.pooling import KeyTable, key_table
from crib.life.signs import EdgeSigns, edge_signs
from tests.bench.forecast.elsewhere.gauge import fits
from tests.bench.forecast.elsewhere.truth import Edges, Keys
from tests.bench.forecast.elsewhere.worlds import World
from tests.bench.forecast.predictor import TOLD_SD, Ablation, Shown, fit
from tests.bench.forecast.records import LAND_SEEN, Records


class Forecaster(Protocol):
    """Says of edges what lies ahead of them."""

    def left(self, key: Ints, age: Floats, probs: Floats, land: Floats | None = None) -> Floats:
        """Use left by which each chance of failing is reached, shape (edges, probs).

        ``land`` is what was measured at that age, as a share of the limit.
        """
        ...

    def swap_ages(self) -> Floats:
        """Age of least cost for a new edge, shape (keys,)."""
        ...

    def swap_looked(self, key: Ints, age: Floats, land: Floats) -> Floats:
        """Age at which to swap edges whose land was measured at an age, shape (edges,)."""
        ...

    def fails(
        self, key: Ints, age: Floats, ahead: Floats, at: Floats, land: Floats | None = None
    ) -> Floats:
        """Chance to fail within some use; ``land`` was measured at the age ``at``."""
        ...


@dataclass(frozen=True, slots=True)
class ByModel:
    """The life model under test.

    Attributes:
        model: The model.
        keys: Keys of the shop.
        box: Label of the box that each key's edges come from now; None: not told.
    """

    model: LifeModel
    keys: Keys
    box: Ints | None = None

    def left(self, key: Ints, age: Floats, probs: Floats, land: Floats | None = None) -> Floats:
        """By the model's word on that edge."""
        signs = self._signs(key, age, land)
        return self.model.remaining(key, age, self.keys.wear_per_part[key], probs, signs)

    def swap_ages(self) -> Floats:
        """By the model's costs."""
        keys = self.keys
        age, _, _ = self.model.swap_age(
            (every := np.arange(len(keys))),
            keys.planned_cost,
            keys.failure_cost,
            keys.wear_per_part,
            self._signs(every, np.zeros(len(keys)), None),
        )
        return age

    def swap_looked(self, key: Ints, age: Floats, land: Floats) -> Floats:
        """By the edge's own odds, as the model has them."""
        costs = (self.keys.planned_cost[key], self.keys.failure_cost[key])
        told, _, _ = self.model.swap_age(
            key, *costs, self.keys.wear_per_part[key], self._signs(key, age, land)
        )
        return np.maximum(told, age)

    def fails(
        self, key: Ints, age: Floats, ahead: Floats, at: Floats, land: Floats | None = None
    ) -> Floats:
        """By the model's word on that edge."""
        signs = self._signs(key, at, land)
        return self.model.fail_probability(key, age, ahead, self.keys.wear_per_part[key], signs)

    def _signs(self, key: Ints, at: Floats, land: Floats | None) -> EdgeSigns:
        box = np.full(len(key), -1) if self.box is None else self.box[key]
        return edge_signs(box) if land is None else edge_signs(box, land, at, LAND_SEEN)


@dataclass(frozen=True, slots=True)
class ByLaw:
    """One who knows each key's law, from many lives of it, shape (keys, lives), rising."""

    lives: Floats
    keys: Keys
    stretch: float = 1.0

    def left(self, key: Ints, age: Floats, probs: Floats, land: Floats | None = None) -> Floats:
        """By the law; a land tells this one nothing."""
        result = np.empty((len(key), len(probs)))
        for row in np.unique(key):
            some, lives = np.flatnonzero(key == row), self.lives[row] * self.stretch
            count = len(lives)
            gone = np.searchsorted(lives, age[some], side="right")
            at = gone[:, None] + (count - gone[:, None]) * probs
            numbers = np.arange(count) + 0.5
            result[some] = np.interp(at, numbers, lives) - age[some, None]
        return np.maximum(result, 0.0)

    def cost_rate(self, age: Floats) -> Floats:
        """Cost per use of swapping at ages, shape (keys,) or (keys, ages)."""
        wide = age if age.ndim == 2 else age[:, None]
        rate = np.empty(wide.shape)
        for row, lives in enumerate(self.lives):
            gone = np.searchsorted(lives, wide[row], side="right")
            used = np.concatenate([[0.0], np.cumsum(lives)])[gone]
            use = (used + (len(lives) - gone) * wide[row]) / len(lives)
            fails = gone / len(lives)
            planned, failure = self.keys.planned_cost[row], self.keys.failure_cost[row]
            rate[row] = (planned * (1 - fails) + failure * fails) / use
        return rate if age.ndim == 2 else rate[:, 0]

    def swap_ages(self) -> Floats:
        """By looking at every age of a fine row."""
        ages = np.quantile(self.lives, np.linspace(0.0005, 0.9995, 400), axis=1).T
        best: Floats = ages[np.arange(len(ages)), np.argmin(self.cost_rate(ages), axis=1)]
        return best

    def swap_looked(self, key: Ints, age: Floats, land: Floats) -> Floats:
        """By the law; a land tells this one nothing."""
        return np.maximum(self.swap_ages()[key], age)

    def fails(
        self, key: Ints, age: Floats, ahead: Floats, at: Floats, land: Floats | None = None
    ) -> Floats:
        """By the law; a land tells this one nothing."""
        result = np.empty(len(key))
        for row in np.unique(key):
            some, lives = np.flatnonzero(key == row), self.lives[row] * self.stretch
            gone, soon = (
                np.searchsorted(lives, when[some], side="right") for when in (age, age + ahead)
            )
            result[some] = (soon - gone) / np.maximum(len(lives) - gone, 1)
        return result


@dataclass(frozen=True, slots=True)
class ByDraws:
    """One who knows each key's law from many edges of it, and reads a land as it was made.

    A land is weighed against that of every drawn edge at that age, by the error of measuring.

    Attributes:
        edges: The edges, shape (keys, edges).
        keys: Their keys.
        world: How lands are measured there.
    """

    edges: Edges
    keys: Keys
    world: World

    @property
    def law(self) -> ByLaw:
        """The same without looks."""
        return ByLaw(np.sort(self.edges.ends, axis=1), self.keys)

    def left(self, key: Ints, age: Floats, probs: Floats, land: Floats | None = None) -> Floats:
        """By the drawn edges that would look alike."""
        if land is None:
            return self.law.left(key, age, probs)
        result = np.empty((len(key), len(probs)))
        for some, ends, weight in self._alike(key, age, land):
            gone = np.cumsum(weight, axis=1) - weight / 2
            for row, told in zip(some, gone, strict=True):
                result[row] = np.interp(probs, told, ends) - age[row]
        return np.maximum(result, 0.0)

    def swap_ages(self) -> Floats:
        """As without looks."""
        return self.law.swap_ages()

    def swap_looked(self, key: Ints, age: Floats, land: Floats) -> Floats:
        """The age of least cost at the edge's own odds and the law's cost rate."""
        law, result = self.law, np.empty(len(key))
        rates, keys = law.cost_rate(law.swap_ages()), self.keys
        for some, ends, weight in self._alike(key, age, land):
            row = key[some[0]]
            extra = keys.failure_cost[row] - keys.planned_cost[row]
            # Shares gone and use made when swapped just before each of the drawn ends.
            gone = np.cumsum(weight, axis=1) - weight
            at = np.maximum(ends, age[some, None])
            steps = np.diff(at, axis=1, prepend=age[some, None])
            worth = extra * gone - rates[row] * np.cumsum(steps * (1 - gone), axis=1)
            best = np.argmin(np.where(ends > age[some, None], worth, 0.0), axis=1)
            result[some] = at[np.arange(len(some)), best]
        return result

    def fails(
        self, key: Ints, age: Floats, ahead: Floats, at: Floats, land: Floats | None = None
    ) -> Floats:
        """By the drawn edges that would look alike."""
        if land is None:
            return self.law.fails(key, age, ahead, at)
        result = np.empty(len(key))
        for some, ends, weight in self._alike(key, at, land):
            still = weight * (ends > age[some, None])
            soon = still * (ends <= (age + ahead)[some, None])
            result[some] = soon.sum(axis=1) / still.sum(axis=1)
        return result

    def _alike(
        self, key: Ints, age: Floats, land: Floats
    ) -> Iterator[tuple[Ints, Floats, Floats]]:
        """Asked edges of a key, the drawn ends, rising, and their weights for each."""
        for row in np.unique(key):
            some = np.flatnonzero(key == row)
            order = np.argsort(self.edges.ends[row])
            drawn = self.edges.take(row, order)
            ages = age[some, None]
            # The edges go by the first axis, the drawn ones by the second.
            alike = fits(self.world, land[some, None], drawn.land(ages))
            weight = alike * (drawn.ends > ages) + 1e-300
            weight /= weight.sum(axis=1, keepdims=True)
            yield some, drawn.ends, weight


def table_of(keys: Keys) -> KeyTable:
    """The key table as the shop would fill it."""
    labels = (keys.item, keys.grade, keys.operation, keys.material)
    return key_table(*labels, prior_mean=0.0, prior_sd=TOLD_SD)


class Learner:
    """The model as a shop has it: fitted again as lives come in, widened by what was shown.

    Args:
        keys: Keys of the shop.
        told: What of the records it is given.
    """

    def __init__(self, keys: Keys, told: Ablation) -> None:
        self._keys, self._told = keys, told
        self._table = table_of(keys)
        self._shown = Shown(len(keys))
        self._model: LifeModel | None = None
        self._known = 0

    def learn(self, kept: Records, lives: int) -> ByModel:
        """The forecaster after each key's first so many lives."""
        if self._model is not None:
            rows = (kept.order >= self._known) & (kept.order < lives)
            later, told = kept.take(rows), self._model.basis(np.arange(len(self._keys)))
            key = later.key
            self._shown.happened(
                later,
                told.life_p10[key],
                told.life_p50[key],
                told.life_p90[key],
                self._model.widening[key],
            )
        wide = self._shown.widening()
        self._model = fit(self._table, kept.take(kept.order < lives), self._told, wide)
        self._known = lives
        return ByModel(self._model, self._keys)
