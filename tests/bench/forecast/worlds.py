"""The simulated shops: what differs from world to world, and the keys drawn for a seed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats, Ints
from tests.bench.forecast.truth import TrueKeys

#: Spread of the handbook's error by what causes it [ln], together about 0.4.
_STRUCTURE: Final = {
    "shop": 0.12,
    "grade": 0.18,
    "material": 0.12,
    "grade_material": 0.14,
    "operation": 0.15,
    "item": 0.12,
    "key": 0.18,
}

BOX: Final = 10
"""Edges in a box."""
LANDS: Final = 0.35
"""Share of the removals at which the worn land is measured."""
STOPS: Final = 0.5
"""Share of the failures that nobody sees at which the machine stops by itself."""
CORRECTED_FROM: Final = 0.18
"""Growth, as a share of that at the wear limit, from which on a size is corrected."""


@dataclass(frozen=True, slots=True)
class World:
    """A kind of shop. Spreads are on the log scale; all numbers are invented.

    Attributes:
        name: Its name in the tables.
        keys: Cutting item x material group x operation class.
        structure: Multiple of the usual spread of the handbook's error (the model is told 0.4).
        edge_sd: Spread from edge to edge, beside the curve's own.
        lot_sd: Spread from box to box.
        chip: Chance that an edge chips before it is worn.
        early: Share of the chips that come early, by seating.
        land_noise: Error of a measured land, share of the land.
        size_noise: Error of a measured part, share of the growth at the wear limit.
        unlogged: Share of lives in whose course somebody turned the edge without telling.
        night: Share of the running time with nobody there.
        job_change: Share of edges thrown out at a job change while still good.
        jobs: Jobs that a key is used on.
        job_sd: Error of the reckoned wear from job to job.
        by_count: Share of keys whose edges are swapped by a count; the others run until worn.
        uneven: Whether lives are spread over the keys unevenly (many keys have none).
    """

    name: str
    keys: int = 160
    structure: float = 1.0
    edge_sd: float = 0.24
    lot_sd: float = 0.10
    chip: float = 0.03
    early: float = 0.25
    land_noise: float = 0.10
    size_noise: float = 0.06
    unlogged: float = 0.02
    night: float = 0.33
    job_change: float = 0.08
    jobs: int = 1
    job_sd: float = 0.0
    by_count: float = 0.6
    uneven: bool = False


WORLDS: Final = (
    World("gentle"),
    World("harsh", structure=2.0, edge_sd=0.48, chip=0.12, early=0.35, land_noise=0.22,
          size_noise=0.15, unlogged=0.04, night=0.42),
    World("sparse", keys=400, uneven=True),
    World("mixed jobs", jobs=4, job_sd=0.15, job_change=0.30, by_count=0.5),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ShopKeys:
    """The keys of one shop: what the shop knows of them, and the truth.

    Attributes:
        item: Label of the cutting item, shape (keys,).
        grade: Label of the grade.
        operation: Label of the operation class.
        material: Label of the material group.
        wear_per_part: Reckoned wear of a part on average over the jobs.
        planned_cost: Cost of a planned swap.
        failure_cost: Cost of a failure in the cut.
        by_count: Whether edges are swapped by a count.
        habit: Share of the count at which this key's edges are really swapped.
        sized: Whether the operation has a size that is corrected as the edge wears.
        truth: What nobody knows.
    """

    item: Ints
    grade: Ints
    operation: Ints
    material: Ints
    wear_per_part: Floats
    planned_cost: Floats
    failure_cost: Floats
    by_count: NDArray[np.bool_]
    habit: Floats
    sized: NDArray[np.bool_]
    truth: TrueKeys

    def __len__(self) -> int:
        return len(self.item)


def draw_keys(
    world: World, seed: int, parts: tuple[float, float] = (150.0, 3_000.0)
) -> ShopKeys:
    """The keys of a world for a seed; the handbook promises from so many to so many parts."""
    rng = np.random.default_rng([seed, 1])
    count = world.keys
    items = max(8, count // 4)
    grade_of, shape_of = rng.integers(0, 6, items), rng.integers(0, 6, items)
    item = rng.integers(0, items, count)
    grade, material = grade_of[item], rng.integers(0, 5, count)
    # An item does one or two classes of work: the usual one of its shape, or the next.
    operation = (shape_of[item] + (rng.random(count) < 0.3)) % 6
    levels = {
        "shop": np.zeros(count, dtype=np.int64),
        "grade": grade,
        "material": material,
        "grade_material": grade * 5 + material,
        "operation": operation,
        "item": item,
        "key": np.arange(count),
    }
    log_life = np.zeros(count)
    for name, label in levels.items():
        sd = _STRUCTURE[name] * world.structure
        log_life += sd * rng.standard_normal(int(label.max()) + 1)[label]
    edge_sd = world.edge_sd * np.exp(
        0.12 * rng.standard_normal(6)[operation] + 0.12 * rng.standard_normal(count)
    )
    chip = world.chip * np.exp(
        0.4 * rng.standard_normal(6)[operation] + 0.3 * rng.standard_normal(count) - 0.125
    )
    wear = 1 / np.exp(rng.uniform(np.log(parts[0]), np.log(parts[1]), count))
    job_wear = wear[:, None] * np.exp(0.35 * rng.standard_normal((count, world.jobs)))
    if world.jobs == 1:
        job_wear = wear[:, None]
    factor = np.exp(world.job_sd * rng.standard_normal((count, world.jobs)))
    life = np.exp(log_life)
    per_part = chip * (1 - world.early) * job_wear[:, 0] / life
    planned = 1_000 + 400 * np.exp(0.5 * rng.standard_normal(count))
    times = np.clip(7 * np.exp(0.5 * rng.standard_normal(count)), 2.5, 25)
    return ShopKeys(
        item=item,
        grade=grade,
        operation=operation,
        material=material,
        wear_per_part=1 / np.mean(1 / job_wear, axis=1),
        planned_cost=planned,
        failure_cost=planned * times,
        by_count=rng.random(count) < world.by_count,
        habit=rng.uniform(0.6, 1.1, count),
        sized=rng.random(count) < 0.5,
        truth=TrueKeys(
            life, edge_sd, chip * world.early, per_part, job_wear, factor, world.lot_sd
        ),
    )
