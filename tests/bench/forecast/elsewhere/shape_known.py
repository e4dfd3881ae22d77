"""Prints how narrow a forecast can be inside the loop: by one who knows each key's shape.

.venv/bin/python -m tests.bench.forecast.elsewhere.shape_known --world plain,even

The shop runs at the life model's own word. One who knows the true spread of ln life of every
key to the last, but not where it lies, learns that from the same records by Bayes' law. A shop
that swaps in time shows few ends, so that this stays in doubt, and with it the spread told.
"""

from __future__ import annotations

import argparse
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats
from tests.bench.forecast.elsewhere.loop import ROUNDS, run_by_model
from tests.bench.forecast.elsewhere.truth import draw_crowd
from tests.bench.forecast.elsewhere.worlds import World, named
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.records import WORN

#: Deviation of ln life over the truth before any record: a promise's, and like keys' word.
_PROMISE, _LIKE_KEYS = 0.4, 0.25
_SHIFTS: Final[Floats] = np.linspace(-1.5, 2.0, 1401)
_CROWD, _EVERY = 4_000, 20
_SPREAD = (0.1, 0.9)
_LEAST: Final = 1e-4


def log_likelihood(life: Floats, age: Floats, worn: Bools) -> Floats:
    """Of each shift of ln life, by edges worn at some ages and others that reached theirs.

    Args:
        life: ln lives of the key as they truly are, rising.
        age: ln ages, shape (edges,).
        worn: Which of them were worn then, shape (edges,).
    """
    gap, near = age[:, None] - _SHIFTS, 0.3 * float(life.std())

    def below(z: Floats) -> Floats:
        return np.searchsorted(life, z) / len(life)

    dense = (below(gap + near) - below(gap - near)) / (2 * near)
    chance = np.where(worn[:, None], dense, 1 - below(gap))
    result: Floats = np.log(np.maximum(chance, _LEAST)).sum(axis=0)
    return result


def told_width(life: Floats, weight: Floats) -> float:
    """Width from 10 to 90 % of ln life where its shift has these weights."""
    some = life[::_EVERY]
    lives = (some[:, None] + _SHIFTS).ravel()
    share = np.tile(weight / len(some), len(some))
    order = np.argsort(lives)
    low, high = np.searchsorted(np.cumsum(share[order]), _SPREAD)
    return float(lives[order[high]] - lives[order[low]])


def shares(world: World, seed: int) -> tuple[float, float, float, float]:
    """True over told width with a promise, with like keys' word, by the model; ends per key."""
    shop = run_by_model(world, seed, Ablation())
    rng = np.random.default_rng([seed, 112])
    crowd = draw_crowd(world, shop.keys, _CROWD, ROUNDS - 0.5, rng, melts_known=False).ends
    found: dict[float, list[float]] = {_PROMISE: [], _LIKE_KEYS: []}
    for key, lives in enumerate(np.sort(np.log(crowd), axis=1)):
        rows = shop.kept.key == key
        told = log_likelihood(
            lives, np.log(shop.kept.wear[rows]), shop.kept.ended[rows] == WORN
        )
        low, high = np.quantile(lives, _SPREAD)
        for doubt, some in found.items():
            weight = told - 0.5 * (_SHIFTS / doubt) ** 2
            weight = np.exp(weight - weight.max())
            some.append(float(high - low) / told_width(lives, weight / weight.sum()))
    ends = float(np.sum(shop.kept.ended == WORN)) / len(shop.keys)
    promise, like = (float(np.median(found[doubt])) for doubt in (_PROMISE, _LIKE_KEYS))
    return promise, like, shop.shape[ROUNDS - 1], ends


def main() -> None:
    """Run the worlds and seeds asked for."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--world", default="plain,even,swapped", help="names, with commas between")
    ask.add_argument("--seed", default="71,72")
    given = ask.parse_args()
    print("world    seed  told/true shape: promise  like keys  the model  worn edges per key")
    for world in named(given.world):
        for seed in map(int, given.seed.split(",")):
            promise, like, model, ends = shares(world, seed)
            print(f"{world.name:9}{seed:4}{promise:25.2f}{like:11.2f}{model:11.2f}{ends:20.1f}")


if __name__ == "__main__":
    main()
