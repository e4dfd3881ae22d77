"""Prints how right forecasts are inside the loop of their own swaps, and what they cost.

.venv/bin/python -m tests.bench.forecast.elsewhere.inside --world plain,boxes --seed 71,72
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from typing import Final

import numpy as np
from scipy.stats import binom

from crib.arrays import Floats
from tests.bench.forecast.elsewhere.loop import BLOCKS, Lived, Loop, run_by_law, run_by_model
from tests.bench.forecast.elsewhere.worlds import named
from tests.bench.forecast.predictor import Ablation

_COUNTS: Final[Floats] = np.exp(np.linspace(np.log(0.05), np.log(6.0), 60))
_TENTHS: Final = 10
_NEAR, _BAND = 0.25, 0.95

_HEAD = (
    f"{'lives':8}{'below 2/5/10 %: new':>20}{'looked':>16}{'not looked':>16}{'told/':>8}"
    f"{'cost over count':>17}{'failed':>8}\n"
    f"{'':8}{'':20}{'':16}{'':16}{'true k':>8}{'one':>9}{'own':>8}{'of 1000':>8}"
)


@dataclass(frozen=True, slots=True)
class Costs:
    """Cost over that of counts in hindsight, of one shop.

    Attributes:
        one: Over the best single share of every promised life.
        own: Over the best count of every key.
    """

    one: float
    own: float


def costs(loop: Loop, block: Lived) -> Costs:
    """What the edges of a block cost over what counts would have over all rounds."""
    keys, lived = loop.keys, loop.lived
    mine = block.rates(keys, block.swap)
    counts = np.stack(
        [lived.rates(keys, np.full(len(lived.key), count)) for count in _COUNTS], axis=1
    )
    one, own = counts.sum(axis=0).min(), counts.min(axis=1).sum()
    return Costs(float(mine.sum() / one), float(mine.sum() / own))


def tenths(claimed: Floats, happened: Floats) -> Iterator[tuple[float, float, bool]]:
    """Mean claim, share that happened and whether that fits, by tenths of the claim.

    It fits where the share is within a quarter of the claim, or chance alone explains it.
    """
    order = np.argsort(claimed, kind="stable")
    for rows in np.array_split(order, _TENTHS):
        claim, count = float(claimed[rows].mean()), float(happened[rows].sum())
        low, high = binom.interval(_BAND, len(rows), claim)
        share = count / len(rows)
        near = abs(share - claim) <= _NEAR * claim
        yield claim, share, bool(near or low <= count <= high)


def report(shops: Sequence[Loop]) -> str:
    """The table of a world."""
    lines, begin = [_HEAD], 0
    for end in BLOCKS:
        blocks = [s.lived.take((s.lived.order >= begin) & (s.lived.order < end)) for s in shops]
        shape = float(np.mean([shop.shape[end - 1] for shop in shops]))
        lines.append(_line(f"{begin + 1}-{end}", shops, blocks, f"{shape:.2f}"))
        begin = end
    lines.append(_line("all", shops, [shop.lived for shop in shops], ""))
    some = [np.isfinite(shop.lived.claimed) for shop in shops]
    claimed, happened = (
        np.concatenate([getattr(s.lived, name)[r] for s, r in zip(shops, some, strict=True)])
        for name in ("claimed", "happened")
    )
    rows = list(tenths(claimed, happened.astype(np.float64)))
    lines.append("claimed  " + "".join(f"{100 * claim:7.2f}" for claim, _, _ in rows) + "  [%]")
    lines.append(
        "happened "
        + "".join(f"{100 * share:6.2f}{' ' if fits else '*'}" for _, share, fits in rows)
        + f"  * {sum(not fits for _, _, fits in rows)} of {_TENTHS} off"
    )
    return "\n".join(lines)


def _line(label: str, shops: Sequence[Loop], blocks: Sequence[Lived], shape: str) -> str:
    paid = [costs(shop, block) for shop, block in zip(shops, blocks, strict=True)]
    new = np.concatenate([block.below_new for block in blocks])
    looked = np.concatenate([block.below_later[block.looked] for block in blocks])
    blind = np.concatenate([b.below_later[b.later & ~b.looked] for b in blocks])
    shares = ""
    for part, wide in ((new, 20), (looked, 16), (blind, 16)):
        points = part.mean(axis=0).tolist() if len(part) else []
        shares += "/".join(f"{100 * point:.1f}" for point in points).rjust(wide)
    failed = np.mean([block.fails().mean() for block in blocks]) * 1_000
    return (
        f"{label:8}{shares}{shape:>8}{np.mean([c.one for c in paid]):9.3f}"
        f"{np.mean([c.own for c in paid]):8.3f}{failed:8.0f}"
    )


def main() -> None:
    """Run the worlds and seeds asked for."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--world", default="all", help="names, with commas between")
    ask.add_argument("--seed", default="71,72,73,74")
    ask.add_argument("--bare", action="store_true", help="look at no edge on the way")
    ask.add_argument("--law", action="store_true", help="by one who knows each key's law")
    given = ask.parse_args()
    seeds = [int(seed) for seed in given.seed.split(",")]
    worlds = named(given.world)
    told = Ablation(signals=not given.bare)
    shop = partial(run_by_model, told=told)
    if given.law:
        shop = partial(run_by_law, looks=not given.bare)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        runs = [[pool.submit(shop, w, seed) for seed in seeds] for w in worlds]
        for world, some in zip(worlds, runs, strict=True):
            shops = [run.result() for run in some]
            print(f"\n{world.name}, seeds {given.seed}\n{report(shops)}")
            each = [costs(shop, shop.lived).one for shop in shops]
            print(f"dearest shop {max(each):.3f} of one count", flush=True)


if __name__ == "__main__":
    main()
