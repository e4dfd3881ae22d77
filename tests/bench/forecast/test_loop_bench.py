"""Whether the loop of a forecaster's own swaps measures, and its tables."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from tests.bench.forecast.elsewhere.forecaster import ByDraws, Forecaster
from tests.bench.forecast.elsewhere.inside import costs, report, tenths
from tests.bench.forecast.elsewhere.loop import Loop, run, run_by_law, run_by_model
from tests.bench.forecast.elsewhere.truth import draw_crowd, draw_keys
from tests.bench.forecast.elsewhere.worlds import WORLDS, World, named
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.records import BROKEN, CENSORED, WORN

_ROUNDS = 24


def _known(world: World, stretch: float = 1.0, *, looks: bool = True) -> Loop:
    """A shop at the word of one who knows each key's law, or that law made longer."""
    keys = draw_keys(world, 5, 12)
    rng = np.random.default_rng(5)
    drawn = draw_crowd(world, keys, 3_000, 0.0, rng, melts_known=False)
    one: Forecaster = ByDraws(drawn.slowed(np.full(drawn.meets.shape, stretch)), keys, world)
    if not looks:
        one = replace(ByDraws(drawn, keys, world).law, stretch=stretch)
    return run(world, keys, 5, lambda kept, turn, box: one, _ROUNDS, looks=looks)


@pytest.mark.parametrize("name", ["plain", "rising", "untied", "runs"])
def test_one_who_knows_each_law_is_right_inside_the_loop(name: str) -> None:
    """2, 5 and 10 % end below its 2, 5 and 10 % points; its claims fit what happens."""
    (world,) = named(name)
    loop = _known(world)
    lived, later = loop.lived, loop.lived.later
    for below in (
        lived.below_new,
        lived.below_later[lived.looked],
        lived.below_later[later & ~lived.looked],
    ):
        assert 100 * below.mean(axis=0) == pytest.approx([2, 5, 10], rel=0.25, abs=1.0)
    assert list(loop.shape.values()) == pytest.approx([1] * len(loop.shape), abs=0.05)
    some = np.isfinite(lived.claimed)
    fits = [fit for *_, fit in tenths(lived.claimed[some], lived.happened[some].astype(float))]
    assert sum(fits) >= 9
    # A count of a key's own is at best as good as its law's age, up to luck.
    assert costs(loop, lived).own == pytest.approx(1, abs=0.06)
    assert costs(loop, lived).own >= costs(loop, lived).one


def test_one_who_knows_each_law_knows_of_a_coating_that_changes() -> None:
    """10 % end below its 10 % point before and after the week of the change."""
    (world,) = named("coating")
    lived = run_by_law(world, 5, rounds=24).lived
    for rows in (lived.order < world.change_week, lived.order >= world.change_week):
        assert lived.below_new[rows, 2].mean() == pytest.approx(0.10, abs=0.025)


def test_forecasts_a_fifth_too_long_are_seen_inside_the_loop() -> None:
    """More edges end below their 10 % points, and risks are claimed too small."""
    (world,) = named("plain")
    loop = _known(world, 1.2, looks=False)
    lived = loop.lived
    assert lived.below_new[:, 2].mean() > 0.16
    assert not lived.looked.any()
    some = np.isfinite(lived.claimed)
    assert lived.happened[some].mean() > 1.3 * lived.claimed[some].mean()
    rows = list(tenths(lived.claimed[some], lived.happened[some].astype(float)))
    assert sum(not fit for *_, fit in rows) >= 2


def test_claims_are_judged_by_a_quarter_or_by_chance() -> None:
    """Half of what was claimed is off where many were claimed, and chance where few."""
    claimed = np.full(10_000, 0.2)
    assert all(fit for *_, fit in tenths(claimed, np.resize([1, 0, 0, 0, 0], 10_000)))
    assert not any(fit for *_, fit in tenths(claimed, np.resize([1] + [0] * 9, 10_000)))
    assert all(fit for *_, fit in tenths(np.full(100, 0.01), np.zeros(100)))


def test_what_is_written_down_is_what_was_run() -> None:
    """One life of every key in every round, with its end and what a slip makes of it."""
    (plain, wrong) = named("plain,wrong15")
    loop, slips = _known(plain), _known(wrong)
    kept = loop.kept
    assert np.array_equal(np.bincount(kept.key), np.full(12, _ROUNDS))
    assert np.array_equal(np.bincount(kept.order), np.full(_ROUNDS, 12))
    first = loop.lived.take(np.arange(len(loop.lived.key)) % 96 < 12)
    assert np.array_equal(first.key, kept.key)
    assert kept.wear == pytest.approx(np.minimum(first.ends, first.swap))
    assert np.array_equal(kept.ended != CENSORED, first.fails())
    assert set(np.unique(kept.ended)) <= {CENSORED, WORN, BROKEN}
    assert np.isfinite(kept.seen_share).mean() == pytest.approx(0.55, abs=0.12)
    assert np.mean(slips.kept.ended != kept.ended) == pytest.approx(0.15, abs=0.06)


def test_lost_counts_are_lost_inside_the_loop() -> None:
    """The shop counts less than was used, and pays for what was used."""
    (world,) = named("lost")
    loop = _known(world)
    lived = loop.lived
    whole = replace(lived, lost=np.ones(len(lived.key)))
    paid = lived.rates(loop.keys, lived.swap) / whole.rates(loop.keys, lived.swap)
    use = np.minimum(lived.ends, np.minimum(lived.swap, lived.stops))
    of_key = [np.bincount(lived.key, part) for part in (use, use / lived.lost)]
    assert paid == pytest.approx(of_key[0] / of_key[1])
    assert np.all(paid < 1)
    assert np.mean(lived.lost < 1) == pytest.approx(0.08, abs=0.02)
    assert lived.below_new[lived.lost < 0.6, 2].mean() > 0.4


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_forecasts_inside_the_loop(
    world: World,
    seeds: tuple[int, ...],
    two_processes: Executor,
    show: Callable[[str], None],
) -> None:
    """The table of a world."""
    shops = list(two_processes.map(partial(run_by_model, world, told=Ablation()), seeds))
    assert all(np.all(shop.lived.swap > 0) for shop in shops)
    show(f"\n{world.name}\n{report(shops)}")
