"""Whether one who knows a shop's form learns from its records by Bayes' law."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.forecast.elsewhere.gauge import fits, measured
from tests.bench.forecast.elsewhere.history import History, keep_history
from tests.bench.forecast.elsewhere.measure import after_lives
from tests.bench.forecast.elsewhere.reachable import Chains, reachable
from tests.bench.forecast.elsewhere.truth import draw_crowd, draw_keys
from tests.bench.forecast.elsewhere.worlds import named
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.records import BROKEN, CENSORED, WORN


@pytest.mark.parametrize("name", ["plain", "wrong15", "rising"])
def test_chances_of_all_that_can_be_written_down_add_up_to_one(name: str) -> None:
    """Over every age and reason, for any law in the chains."""
    (world,) = named(name)
    keys = draw_keys(world, 5, 4)
    ages = np.linspace(0.002, 4.0, 2_000)
    one = keep_history(world, keys, 1, 5).kept.take(np.zeros(3 * len(ages), dtype=np.int64))
    kept = replace(
        one,
        wear=np.tile(ages, 3),
        ended=np.repeat([CENSORED, WORN, BROKEN], len(ages)),
        seen_share=np.full(3 * len(ages), np.nan),
    )
    rows = len(kept)
    history = History(kept, np.zeros(rows), np.zeros(rows, dtype=np.bool_))
    chains = Chains(world, keys, history, 5)
    chains.state.life = np.random.default_rng(5).normal(0.0, 0.2, chains.state.life.shape)
    total = np.exp(chains.log_likelihood(chains.state)).sum(axis=1) * (ages[1] - ages[0])
    assert total == pytest.approx(1, abs=0.01)


def test_its_intervals_hold_and_its_losses_are_small() -> None:
    """80 % intervals hold 80 % but for what keys scatter; nobody learns more from records."""
    (world,) = named("boxes")
    scores = reachable(world, 5, (15,), 12)[15]
    assert [scores.new, scores.half] == pytest.approx([80, 80], abs=6)
    assert scores.looked == pytest.approx(80, abs=6)
    assert scores.loss_new < 1.10
    assert after_lives(world, 5, Ablation(), (15,), 12)[15].loss_new > scores.loss_new


def test_damage_adds_up_by_a_gamma_process() -> None:
    """Mean 1 and variance 1/shape after a usual life (by definition); it ends at its limit."""
    (world,) = named("sums")
    keys = draw_keys(world, 5, 2)
    edges = draw_crowd(world, keys, 4_000, 0.0, np.random.default_rng(5), melts_known=False)
    land = edges.land(edges.meets)
    assert land.mean() == pytest.approx(1, abs=0.02)
    assert land.var() == pytest.approx(1 / world.sums, rel=0.1)
    limit = edges.land(edges.wears)
    assert limit.mean(axis=1) == pytest.approx(1, abs=0.02)
    assert limit.std(axis=1) == pytest.approx(keys.scatter, rel=0.06)
    assert np.all(edges.land(edges.wears * 0.5) <= limit)
    one = edges.take(1, np.array([7, 3]))
    assert one.land(one.wears) == pytest.approx(limit[1, [7, 3]])


def test_a_land_is_read_to_a_mark() -> None:
    """What is read is a mark, and chances of all marks add up to one."""
    (world,) = named("marks")
    rng = np.random.default_rng(5)
    seen = measured(world, np.full(20_000, 0.6), rng)
    marks, counts = np.unique(np.rint(seen / world.mark), return_counts=True)
    assert seen / world.mark == pytest.approx(np.rint(seen / world.mark))
    chance = fits(world, np.arange(1, 30) * world.mark, np.full(29, 0.6))
    assert chance.sum() == pytest.approx(1)
    expected = chance[marks.astype(int) - 1]
    assert counts / counts.sum() == pytest.approx(expected, abs=0.012)
