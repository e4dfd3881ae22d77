"""How good forecasts are after 0 to 50 lives per key, world by world, against the truth."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import astuple, replace

import numpy as np
import pytest

from tests.bench.forecast.lives import STAGES, Stage, after_lives, by_count, without
from tests.bench.forecast.predictor import PLAIN, Ablation
from tests.bench.forecast.scores import Score, mean_score
from tests.bench.forecast.worlds import WORLDS, World

_HEAD = (
    f"{'':28}{'new edge':>11}  {'half used':>11}  {'median':>10}"
    f"  {'fail':>5}{'used':>6}{'cost':>8}\n"
    f"{'lives per key':28}{'50/80/90 %':>11}  {'50/80/90 %':>11}  {'off':>5}{'bias':>5}"
    f"  {'/1000':>5}{'share':>6}{'/oracle':>8}"
)
_TROUBLES = ("censoring", "nights", "silent turns", "boxes", "chipping")


def _line(label: str, stages: Iterable[Stage]) -> str:
    rows = list(stages)
    score = mean_score(row.score for row in rows)
    new = "/".join(f"{v:.0f}" for v in astuple(score)[:3])
    half = "/".join(f"{v:.0f}" for v in np.mean([row.half for row in rows], axis=0))
    failures, used, cost = np.mean([(r.failures, r.used, r.cost) for r in rows], axis=0)
    return (
        f"{label:28}{new:>11}  {half:>11}  {score.off:4.1f}%{score.bias:+4.0f}%"
        f"  {failures:5.0f}{used:6.2f}{cost:8.3f}"
    )


def _strangers(label: str, scores: Sequence[Score]) -> str:
    """Keys that have no lives of their own, in a shop where others have many."""
    blind = [
        Stage(score, np.array([score.half50, score.half80, score.half90]), score.failures,
              score.used, score.cost)
        for score in scores
    ]  # fmt: skip
    return _line(label, blind)


def _run(
    pool: Executor,
    cases: Sequence[tuple[World, Ablation]],
    seeds: Sequence[int],
    stages: tuple[int, ...],
    watch: bool,
) -> list[list[dict[int, Stage]]]:
    """Scores by case and seed, side by side in processes."""
    work = [(world, seed, told, stages, watch) for world, told in cases for seed in seeds]
    flat = list(pool.map(after_lives, *zip(*work, strict=True)))
    for scores in flat:
        _sane(scores)
    return [flat[i : i + len(seeds)] for i in range(0, len(flat), len(seeds))]


def _sane(stages: dict[int, Stage]) -> None:
    for stage in stages.values():
        values = np.array([*astuple(stage.score), *stage.half, stage.failures, stage.cost])
        assert np.all(np.isfinite(values))
        assert stage.score.cover50 < stage.score.cover80 < stage.score.cover90 <= 100
        assert stage.half[0] < stage.half[1] < stage.half[2] <= 100
        assert stage.score.cost >= 1 - 1e-9
        assert 0 < stage.used <= 1


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_forecasts_after_so_many_lives(
    world: World,
    seeds: tuple[int, ...],
    two_processes: Executor,
    show: Callable[[str], None],
) -> None:
    """Without looks (no lands, no size corrections) and with all that the shop wrote down."""
    counts = [by_count(world, seed) for seed in seeds]
    lines = [f"\n{world.name}, seeds {', '.join(map(str, seeds))}", _HEAD]
    for name in counts[0]:
        failures, used, cost = np.mean([count[name] for count in counts], axis=0)
        lines.append(f"{name:68}{failures:5.0f}{used:6.2f}{cost:8.3f}")
    cases = [(world, PLAIN), (world, Ablation())]
    runs = _run(two_processes, cases, seeds, STAGES, watch=True)
    for by_seed, note in zip(runs, ("", ", looks"), strict=True):
        for stage in STAGES:
            label = f"{stage}{' (handbook)' if stage == 0 else ''}{note}"
            lines.append(_line(label, [run[stage] for run in by_seed]))
        strangers = [run[20].strangers for run in by_seed]
        scores = [score for score in strangers if score is not None]
        if scores:
            lines.append(_strangers(f"20{note}: keys without any", scores))
    show("\n".join(lines))


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS[:2], ids=lambda world: world.name)
def test_which_trouble_costs_what(
    world: World,
    seeds: tuple[int, ...],
    two_processes: Executor,
    show: Callable[[str], None],
) -> None:
    """The same shop with one trouble only, and with all but one, at 20 lives per key."""
    cases = {"no trouble": _TROUBLES}
    cases |= {f"only {t}": tuple(o for o in _TROUBLES if o != t) for t in _TROUBLES}
    cases |= {"all troubles": ()}
    cases |= {f"all but {t}": (t,) for t in _TROUBLES}
    lines = [f"\n{world.name}, 20 lives per key, no signals, seeds {seeds[:2]}", _HEAD]
    calm = [(without(world, *gone), PLAIN) for gone in cases.values()]
    runs = _run(two_processes, calm, seeds[:2], (20,), watch=False)
    for label, by_seed in zip(cases, runs, strict=True):
        lines.append(_line(label, [run[20] for run in by_seed]))
    show("\n".join(lines))


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS[:2], ids=lambda world: world.name)
def test_what_each_part_of_the_records_brings(
    world: World,
    seeds: tuple[int, ...],
    two_processes: Executor,
    show: Callable[[str], None],
) -> None:
    """All that the model can be told, and all but one part of it, at 20 lives per key."""
    cases = {"all": Ablation()}
    for part in ("signals", "lots", "nights", "widening"):
        cases[f"all but {part}"] = replace(Ablation(), **{part: False})
    lines = [f"\n{world.name}, 20 lives per key, seeds {seeds[:2]}", _HEAD]
    told = [(world, case) for case in cases.values()]
    runs = _run(two_processes, told, seeds[:2], (0, 5, 10, 20), watch=False)
    for label, by_seed in zip(cases, runs, strict=True):
        lines.append(_line(label, [run[20] for run in by_seed]))
    show("\n".join(lines))
