"""What nobody in such a shop knows: how its edges wear and end. Nothing of the model is used.

The land, as a share of its limit, runs in and then grows with the use; where it meets the limit
differs from edge to edge. An edge ends somewhere about there (a size is lost, a finish goes),
by a normal scatter of the use itself, or it breaks before. So lives are neither Weibull nor
lognormal, and a land of 0.8 may belong to an edge at its end.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from tests.bench.forecast.elsewhere.worlds import World

BOX: Final = 10
"""Edges in a box."""
MOST_WEEKS: Final = 80.0
RUN_IN, RUN_IN_SD, SOON = 0.12, 0.30, 0.05
_LEAST_FACTOR: Final = 0.15
#: Steps in which damage adds up, and how far it is followed [usual lives].
_STEP, _FAR = 0.06, 2.4
#: Error of a promise [ln] by what causes it: together about 0.4, even laws, no bells.
ERRORS: Final = {"shop": 0.12, "grade": 0.18, "material": 0.15, "operation": 0.15, "key": 0.25}
_GRADES, _MATERIALS, _OPERATIONS = 4, 4, 4


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys of one shop, arrays of shape (keys,).

    Attributes:
        item: Label of the cutting item.
        grade: Label of its grade.
        operation: Label of the operation class.
        material: Label of the material group.
        wear_per_part: Reckoned wear of a part.
        planned_cost: Cost of a planned swap.
        failure_cost: Cost of a failure in the cut.
        life: Usual life of an edge [wear units that are promised]; nobody knows it.
        scatter: Scatter of the life about where the land meets the limit.
        melt: Effect of each melt on ln life, shape (materials, melts).
        first_melt: Weeks of the first melt gone by at the start, shape (materials,).
    """

    item: Ints
    grade: Ints
    operation: Ints
    material: Ints
    wear_per_part: Floats
    planned_cost: Floats
    failure_cost: Floats
    life: Floats
    scatter: Floats
    melt: Floats
    first_melt: Floats

    def __len__(self) -> int:
        return len(self.item)


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges, arrays of one shape.

    Attributes:
        meets: Use at which the land meets its limit.
        wears: Use at which the edge is at its end by wear.
        breaks: Use at which it breaks.
        run_in: Share of the limit that its run-in takes.
        power: Power by which the land grows.
        damage: Damage so far over the usual limit, at steps of the use, along a last axis more:
            the land is that. Empty: the land grows by the power.
    """

    meets: Floats
    wears: Floats
    breaks: Floats
    run_in: Floats
    power: float
    damage: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def ends(self) -> Floats:
        """Use at which it fails."""
        return np.minimum(self.wears, self.breaks)

    def take(self, key: int, some: Ints) -> Edges:
        """Some edges of one key, where the first axis is that of the keys."""
        parts = (self.meets, self.wears, self.breaks, self.run_in)
        damage = self.damage[key, some] if self.damage.size else self.damage
        return Edges(*(part[key, some] for part in parts), self.power, damage)

    def slowed(self, share: Floats) -> Edges:
        """The same edges where only a share of the use is counted."""
        return replace(
            self, meets=self.meets * share, wears=self.wears * share, breaks=self.breaks * share
        )

    def land(self, used: Floats) -> Floats:
        """Land over its limit after some use."""
        y = used / self.meets
        if self.damage.size:
            steps = self.damage.shape[-1]
            path = self.damage.reshape(-1, steps)
            row = np.arange(len(path)).reshape(self.meets.shape)
            place = np.minimum(y / _STEP, steps - 1.001)
            at = place.astype(np.int64)
            low: Floats = path[row, at].astype(np.float64)
            return low + (place - at) * (path[row, at + 1] - low)
        grown: Floats = self.run_in * -np.expm1(-y / SOON) + (1 - self.run_in) * y**self.power
        return grown


def draw_keys(world: World, seed: int, count: int = 24) -> Keys:
    """The keys of a shop for a seed."""
    rng = np.random.default_rng([seed, 101])
    item = np.arange(count) % max(count // 2, 1)
    grade = rng.integers(0, _GRADES, count)[item]
    operation = rng.integers(0, _OPERATIONS, count)[item]
    material = rng.integers(0, _MATERIALS, count)
    labels = {
        "shop": np.zeros(count, dtype=np.int64),
        "grade": grade,
        "material": material,
        "operation": operation,
        "key": np.arange(count),
    }
    error = np.zeros(count)
    for name, label in labels.items():
        half = ERRORS[name] * np.sqrt(3.0)
        error += rng.uniform(-half, half, int(label.max()) + 1)[label]
    melts = int(MOST_WEEKS / world.melt_weeks) + 2
    planned = rng.uniform(800.0, 2_000.0, count)
    return Keys(
        item,
        grade,
        operation,
        material,
        1 / np.exp(rng.uniform(np.log(200.0), np.log(1_200.0), count)),
        planned,
        planned * rng.uniform(3.0, 12.0, count),
        np.exp(error),
        rng.uniform(*world.scatter, count),
        world.melt_sd * rng.standard_normal((_MATERIALS, melts)),
        rng.uniform(0.0, world.melt_weeks, _MATERIALS),
    )


def shift(world: World, keys: Keys, key: Ints, week: Floats, melts: bool = True) -> Floats:
    """What the week does to ln life: the melt in the shop, and the coating on the item."""
    ln = np.zeros(np.broadcast_shapes(key.shape, np.shape(week)))
    if melts:
        material = keys.material[key]
        number = (week + keys.first_melt[material]) // world.melt_weeks
        ln = ln + keys.melt[material, number.astype(np.int64)]
    if world.change_week:
        changed = (keys.item[key] % 2 == 0) & (week >= world.change_week)
        ln = ln + np.where(changed, np.log(world.change_life), 0.0)
    return ln


def draw_boxes(world: World, count: int, rng: np.random.Generator) -> Floats:
    """What so many boxes do to ln life."""
    bad = rng.random(count) < world.bad_boxes
    effect: Floats = world.box_sd * rng.standard_normal(count)
    return effect + np.where(bad, np.log(world.bad_life), 0.0)


def draw_edges(
    world: World, keys: Keys, key: Ints, ln: Floats, rng: np.random.Generator
) -> Edges:
    """Edges of keys; ``ln`` is what box and week do to each one's ln life."""
    size = key.shape
    # The parts of an edge's run are harder or easier than the shop reckons them.
    usual = keys.life[key] * np.exp(ln + world.run_sd * rng.standard_normal(size))
    meets = usual * np.exp(world.pace_sd * rng.standard_normal(size))
    own = meets
    if not world.tied:
        own = usual * np.exp(world.pace_sd * rng.standard_normal(size))
    if world.sums:
        run_in = np.zeros(size)
        limit = np.maximum(1 + keys.scatter[key] * rng.standard_normal(size), _LEAST_FACTOR)
        damage = _damage(world.sums, size, rng)
        wears = meets * _reached(damage, limit)
        breaks = rng.exponential(size=size) * keys.life[key] / world.chip
        return Edges(meets, wears, breaks, run_in, world.power, damage)
    if world.waiting:
        wears = usual * rng.gamma(world.waiting, 1 / world.waiting, size)
    else:
        factor = 1 + keys.scatter[key] * rng.standard_normal(size)
        wears = own * np.maximum(factor, _LEAST_FACTOR)
    breaks = rng.exponential(size=size) * keys.life[key] / world.chip
    run_in = RUN_IN * np.exp(RUN_IN_SD * rng.standard_normal(size))
    return Edges(meets, wears, breaks, run_in, world.power)


def _damage(shape: float, size: tuple[int, ...], rng: np.random.Generator) -> Floats:
    """Damage by a gamma process that reaches 1 after a usual life, on average."""
    steps = rng.standard_gamma(shape * _STEP, (*size, round(_FAR / _STEP)), dtype=np.float32)
    damage = np.zeros((*size, steps.shape[-1] + 1), dtype=np.float32)
    np.cumsum(steps / np.float32(shape), axis=-1, out=damage[..., 1:])
    return damage


def _reached(damage: Floats, limit: Floats) -> Floats:
    """Use over the usual life at which damage reaches a limit."""
    steps = damage.shape[-1]
    path = damage.reshape(-1, steps)
    row, most = np.arange(len(path)), limit.ravel()
    at = np.minimum(np.sum(path < most[:, None], axis=1), steps - 1)
    low, high = path[row, at - 1], path[row, at]
    part = np.clip((most - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    reached: Floats = ((at - 1 + part) * _STEP).reshape(limit.shape)
    return reached


def draw_crowd(
    world: World,
    keys: Keys,
    each: int,
    week: float,
    rng: np.random.Generator,
    *,
    melts_known: bool,
) -> Edges:
    """So many edges of every key out of any box, shape (keys, each).

    Args:
        world: The world.
        keys: Its keys.
        each: Edges per key.
        week: When they are mounted.
        rng: Luck.
        melts_known: The melts of that week; else any melt.
    """
    key = np.repeat(np.arange(len(keys)), each).reshape(len(keys), each)
    ln = shift(world, keys, key, np.float64(week), melts_known)
    ln = ln + draw_boxes(world, key.size, rng).reshape(key.shape)
    if not melts_known:
        ln = ln + world.melt_sd * rng.standard_normal(key.shape)
    return draw_edges(world, keys, key, ln, rng)
