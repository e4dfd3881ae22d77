"""Prints how good forecasts are in shops of another form than the model.

.venv/bin/python -m tests.bench.forecast.elsewhere --world plain,wrong15 --seed 71,72
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple
from multiprocessing import get_context

import numpy as np

from tests.bench.forecast.elsewhere.measure import STAGES, Figures, after_lives
from tests.bench.forecast.elsewhere.worlds import named
from tests.bench.forecast.predictor import Ablation

HEAD = (
    f"{'':18}{'80 % holds [%]':>17} {'below 10 % [%]':>17} {'':6} {'told/':>6}"
    f"{'loss over the law':>20}{'least':>7}{'cost':>7}{'looked':>8}{'least':>7}\n"
    f"{'lives per key':18}{'new half look':>17} {'new half look':>17} {'bias':>6} {'true k':>6}"
    f"{'new   half   look':>20}{'new':>7}{'new':>7}{'at':>8}{'':>7}"
)


def line(label: str, f: Figures) -> str:
    """One line of the table."""
    return (
        f"{label:18}{f.new:7.0f}{f.half:5.0f}{f.looked:5.0f} {f.low_new:7.1f}{f.low_half:5.1f}"
        f"{f.low_looked:5.1f} {f.bias:+5.0f}% {f.shape:6.2f}{f.loss_new:8.3f}{f.loss_half:6.3f}"
        f"{f.loss_looked:6.3f}{f.least:7.3f}{f.cost:7.3f}"
        f"{f.cost_looked:8.3f}{f.least_looked:7.3f}"
    )


def mean(rows: Sequence[Figures]) -> Figures:
    """Mean over shops."""
    return Figures(*np.mean([astuple(row) for row in rows], axis=0).tolist())


def main() -> None:
    """Run the worlds, seeds and stages asked for."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--world", default="all", help="names, with commas between")
    ask.add_argument("--seed", default="71,72,73,74")
    ask.add_argument("--lives", default=",".join(map(str, STAGES)))
    ask.add_argument("--keys", type=int, default=24)
    ask.add_argument("--bare", action="store_true", help="tell the model of no look")
    ask.add_argument("--each", action="store_true", help="a line for every seed")
    given = ask.parse_args()
    worlds = named(given.world)
    seeds = [int(seed) for seed in given.seed.split(",")]
    stages = tuple(int(lives) for lives in given.lives.split(","))
    told = Ablation(signals=not given.bare)
    cases = [(world, seed) for world in worlds for seed in seeds]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        runs = [
            pool.submit(after_lives, world, seed, told, stages, given.keys)
            for world, seed in cases
        ]
        for number, world in enumerate(worlds):
            shops = [run.result() for run in runs[number * len(seeds) :][: len(seeds)]]
            print(f"\n{world.name}, seeds {given.seed}\n{HEAD}")
            for stage in stages:
                if given.each:
                    for seed, shop in zip(seeds, shops, strict=True):
                        print(line(f"{stage}, seed {seed}", shop[stage]))
                print(line(str(stage), mean([shop[stage] for shop in shops])), flush=True)


if __name__ == "__main__":
    main()
