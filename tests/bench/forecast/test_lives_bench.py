"""How good forecasts are after 0 to 50 lives per key, world by world, against the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import astuple

import numpy as np
import pytest

from tests.bench.forecast.lives import STAGES, after_lives, by_count, without
from tests.bench.forecast.predictor import Ablation
from tests.bench.forecast.scores import Score, mean_score
from tests.bench.forecast.worlds import WORLDS, World

_HEAD = (
    f"{'':28}{'new edge':>11}  {'half used':>11}  {'median':>10}"
    f"  {'fail':>5}{'used':>6}{'cost':>8}\n"
    f"{'lives per key':28}{'50/80/90 %':>11}  {'50/80/90 %':>11}  {'off':>5}{'bias':>5}"
    f"  {'/1000':>5}{'share':>6}{'/oracle':>8}"
)
_TROUBLES = ("censoring", "nights", "silent turns", "boxes", "chipping")


def _line(label: str, score: Score) -> str:
    new = "/".join(f"{v:.0f}" for v in astuple(score)[:3])
    half = "/".join(f"{v:.0f}" for v in astuple(score)[3:6])
    return (
        f"{label:28}{new:>11}  {half:>11}  {score.off:4.1f}%{score.bias:+4.0f}%"
        f"  {score.failures:5.0f}{score.used:6.2f}{score.cost:8.3f}"
    )


def _sane(scores: dict[int, Score]) -> None:
    for score in scores.values():
        values = np.array(astuple(score))
        assert np.all(np.isfinite(values))
        assert score.cover50 < score.cover80 < score.cover90 <= 100
        assert score.cost >= 1 - 1e-9
        assert 0 < score.used <= 1


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_forecasts_after_so_many_lives(
    world: World, seeds: tuple[int, ...], show: Callable[[str], None]
) -> None:
    runs = [after_lives(world, seed, Ablation()) for seed in seeds]
    counts = [by_count(world, seed) for seed in seeds]
    lines = [f"\n{world.name}, seeds {', '.join(map(str, seeds))}", _HEAD]
    for name in counts[0]:
        failures, used, cost = np.mean([count[name] for count in counts], axis=0)
        lines.append(f"{name:68}{failures:5.0f}{used:6.2f}{cost:8.3f}")
    for stage in STAGES:
        label = f"{stage}{' (handbook only)' if stage == 0 else ''}"
        lines.append(_line(label, mean_score(run[stage] for run in runs)))
    show("\n".join(lines))
    for run in runs:
        _sane(run)


@pytest.mark.bench
@pytest.mark.parametrize("world", WORLDS[:2], ids=lambda world: world.name)
def test_which_trouble_costs_what(
    world: World, seeds: tuple[int, ...], show: Callable[[str], None]
) -> None:
    """The same shop with one trouble only, and with all but one, at 20 lives per key."""
    cases = {"no trouble": _TROUBLES}
    cases |= {f"only {t}": tuple(o for o in _TROUBLES if o != t) for t in _TROUBLES}
    cases |= {"all troubles": ()}
    cases |= {f"all but {t}": (t,) for t in _TROUBLES}
    lines = [f"\n{world.name}, 20 lives per key, seeds {', '.join(map(str, seeds))}", _HEAD]
    for label, gone in cases.items():
        runs = [after_lives(without(world, *gone), seed, Ablation(), (20,)) for seed in seeds]
        lines.append(_line(label, mean_score(run[20] for run in runs)))
        for run in runs:
            _sane(run)
    show("\n".join(lines))
