"""Whether the measuring in shops of another form measures, and their tables."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import astuple, replace
from functools import partial

import numpy as np
import pytest

from tests.bench.forecast.elsewhere import probes
from tests.bench.forecast.elsewhere.__main__ import line, mean
from tests.bench.forecast.elsewhere.forecaster import ByLaw
from tests.bench.forecast.elsewhere.history import keep_history
from tests.bench.forecast.elsewhere.measure import STAGES, after_lives, ask, figures
from tests.bench.forecast.elsewhere.truth import draw_keys
from tests.bench.forecast.elsewhere.worlds import WORLDS, World
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.records import CENSORED, WORN

_BY_NAME = {world.name: world for world in WORLDS}


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_one_who_knows_each_law_scores_as_defined(world: World) -> None:
    """80 % intervals hold 80 %, losses are 1 and costs least; by definition of each."""
    keys = draw_keys(world, 5, 12)
    asked = ask(world, keys, 3.0, 5)
    scores = figures(asked.now, asked)
    assert [scores.new, scores.half] == pytest.approx([80, 80], abs=1.0)
    assert [scores.low_new, scores.low_half] == pytest.approx([10, 10], abs=0.8)
    assert scores.bias == pytest.approx(0, abs=1e-9)
    assert scores.shape == pytest.approx(1)
    assert scores.loss_new == pytest.approx(scores.least)
    # Swap ages are looked for on one draw of the law and paid for on another.
    assert scores.cost == pytest.approx(1, abs=0.03) or world.melt_sd
    if not world.melt_sd:
        assert scores.loss_new == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_one_who_reads_lands_as_they_were_made_is_right_and_saves(world: World) -> None:
    """By Bayes its 80 % intervals of looked edges hold 80 %; no look makes it worse."""
    asked = ask(world, draw_keys(world, 5, 12), 3.0, 5)
    scores, blind = figures(asked.reader, asked), figures(asked.law, asked)
    if not world.melt_sd:
        # 480 edges: three times the binomial deviation, and that of 1,500 draws.
        assert scores.looked == pytest.approx(80, abs=6.0)
        assert scores.low_looked == pytest.approx(10, abs=4.5)
    assert scores.loss_looked < 1.02 * blind.loss_looked
    assert scores.least_looked < 1.02
    # One who does not read the land swaps as if there had been none.
    assert blind.cost_looked == pytest.approx(blind.cost)
    if world.name == "plain":
        assert scores.loss_looked < 0.9 * blind.loss_looked
        assert scores.cost_looked < 0.99 * scores.cost
    if world.name == "boxes":
        assert scores.cost_looked < 0.85 * scores.cost


def test_forecasts_a_fifth_too_long_are_seen_as_such() -> None:
    """The median is 20 % off, more edges end below the 10 % point, and losses rise."""
    world = _BY_NAME["plain"]
    asked = ask(world, draw_keys(world, 5, 12), 3.0, 5)
    scores = figures(replace(asked.now, stretch=1.2), asked)
    assert scores.bias == pytest.approx(100 * np.log(1.2))
    assert scores.low_new > 20
    assert scores.loss_new > 1.05
    assert scores.shape == pytest.approx(1)


def test_costs_of_even_lives_are_those_of_the_formula() -> None:
    """Lives spread evenly from 0 to 1: the integral of survival to a is a - a a / 2."""
    keys = draw_keys(_BY_NAME["plain"], 5, 2)
    law = ByLaw(np.tile((np.arange(20_000) + 0.5) / 20_000, (2, 1)), keys)
    age = np.linspace(0.05, 0.95, 19)
    planned, failure = keys.planned_cost[:, None], keys.failure_cost[:, None]
    rate = (planned * (1 - age) + failure * age) / (age - age**2 / 2)
    assert law.cost_rate(np.tile(age, (2, 1))) == pytest.approx(rate, rel=1e-3)
    ahead = law.left(np.array([0, 1]), np.array([0.0, 0.5]), np.array([0.1, 0.5]))
    assert ahead == pytest.approx(np.array([[0.1, 0.5], [0.05, 0.25]]), abs=1e-3)


def test_slips_are_as_many_as_the_world_says() -> None:
    """And without any the fixed count ends most lives, the rest end before it."""
    keys = draw_keys(_BY_NAME["plain"], 5)
    plain = keep_history(_BY_NAME["plain"], keys, 50, 5)
    assert not plain.slip.any()
    early = plain.kept.ended == CENSORED
    assert 0.5 < early.mean() < 0.9
    for name, share in (("wrong2", 0.02), ("wrong15", 0.15), ("lost", 0.08), ("swapped", 0.05)):
        kept = keep_history(_BY_NAME[name], keys, 50, 5)
        assert kept.slip.mean() == pytest.approx(share, abs=0.015)
        same = (kept.kept.ended == plain.kept.ended) & (kept.kept.key == plain.kept.key)
        same &= kept.kept.wear == plain.kept.wear
        assert np.array_equal(same, ~kept.slip)


def test_probes_tell_little_from_much(monkeypatch: pytest.MonkeyPatch) -> None:
    """No chip moves nothing; where a tenth chips, the 10 % point falls by more than a tenth."""
    assert np.all(probes.chips_move(5, 0, WORN) == 0)
    assert np.all(probes.chips_move(5, 15, WORN) < -0.2)
    assert probes.chips_move_the_law(5, 3) == pytest.approx(-0.14, abs=0.07)
    assert probes.after_change(5)[0].mean() > 1.5
    monkeypatch.setattr(probes, "OLD", 1_000.0)
    assert probes.old_edge_asked_about(5, 0)
    monkeypatch.setattr(probes, "OLD", 0.8)
    assert not probes.old_edge_asked_about(5, 30)
    monkeypatch.setattr(probes, "OLD", 0.1)
    assert probes.old_edge_planned(5, 3) == "cost"


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_forecasts_elsewhere(
    world: World,
    seeds: tuple[int, ...],
    two_processes: Executor,
    show: Callable[[str], None],
) -> None:
    """The table of a world: means over seeds, after so many lives per key."""
    shops = list(two_processes.map(partial(after_lives, world, told=Ablation()), seeds))
    for stage in STAGES:
        scores = mean([shop[stage] for shop in shops])
        assert np.all(np.isfinite(astuple(scores)))
        show(line(f"{world.name}, {stage}", scores))
