"""What stands in a simulated shop: six machines, their jobs, the edges they will be given."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from tests.bench.forecast.truth import Edges, draw_edges
from tests.bench.forecast.worlds import BOX, ShopKeys, World, draw_keys

MACHINES: Final = 6
STATIONS: Final = 8
DAY_S: Final = 86_400.0
#: Parts that the handbook promises of an edge: from a few days to some weeks of work.
_PARTS: Final = (5_000.0, 60_000.0)


@dataclass(frozen=True, slots=True)
class Plant:
    """What stands in the shop and what it is to make; the same under every policy.

    Attributes:
        world: Its world.
        keys: Its keys; station s takes edges of key s.
        machine: Machine of each station, shape (stations,).
        cycle_s: Seconds per part by machine.
        job: Job on each machine by day, shape (machines, days).
        edges: Edges that the stations will be given, ``depth`` for each, one after the other.
        lot: Their boxes.
        depth: How many edges a station can be given.
        dark_s: Seconds of a day with nobody there; it ends at 06:00.
        days: Days to run.
    """

    world: World
    keys: ShopKeys
    machine: Ints
    cycle_s: Floats
    job: Ints
    edges: Edges
    lot: Ints
    depth: int
    dark_s: float
    days: int


def build_plant(world: World, seed: int, days: int) -> Plant:
    """Draw a shop of a world with one key per station."""
    count = MACHINES * STATIONS
    world = replace(world, keys=count)
    few = 2.0 if world.uneven else 1.0
    keys = draw_keys(world, seed, (_PARTS[0] * few, _PARTS[1] * few))
    rng = np.random.default_rng([seed, 5])
    depth = 900
    key = np.repeat(np.arange(count), depth)
    lot = np.arange(count * depth) // BOX
    effect = world.lot_sd * rng.standard_normal(int(lot[-1]) + 1)
    job = np.zeros((MACHINES, days + 30), dtype=np.int64)
    for row in job:
        day = 0
        while day < len(row):
            stay = int(rng.integers(2, 9))
            row[day : day + stay] = rng.integers(0, world.jobs)
            day += stay
    return Plant(
        world,
        keys,
        np.repeat(np.arange(MACHINES), STATIONS),
        rng.uniform(60.0, 130.0, MACHINES),
        job,
        draw_edges(keys.truth, key, effect[lot], rng),
        lot,
        depth,
        DAY_S * world.night,
        days,
    )
