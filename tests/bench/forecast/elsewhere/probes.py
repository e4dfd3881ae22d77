"""Prints what a few single things do to the forecast that should do little, or much.

.venv/bin/python -m tests.bench.forecast.elsewhere.probes --seed 71,72
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.floor.calendar import WorkCalendar
from crib.floor.week import WEEKDAYS, spans_from_rows
from crib.life.model import LifeModel
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead, MountedEdge, edges_due
from crib.planning.swap_plan import plan_swaps
from tests.bench.forecast.elsewhere.forecaster import ByLaw, Learner, table_of
from tests.bench.forecast.elsewhere.history import keep_history
from tests.bench.forecast.elsewhere.measure import ask
from tests.bench.forecast.elsewhere.truth import Keys, draw_crowd, draw_keys
from tests.bench.forecast.elsewhere.worlds import WORLDS
from tests.bench.forecast.predictor import Ablation, fit
from tests.bench.forecast.records import BROKEN, CENSORED, NOTHING_SEEN, WORN, Records

_WORLDS: Final = {world.name: world for world in WORLDS}
#: Edges of this one hardly ever chip by themselves.
_PLAIN: Final = replace(_WORLDS["plain"], chip=1e-9)
_LIVES, _EVERY = 30, 3
#: A chipped edge had this share of its life behind it.
_EARLY: Final = 0.3
_CHANGE: Final = _WORLDS["coating"]
SINCE: Final = (0, 3, 5, 10, 20)
OLD: Final = 10.0
KNOWN: Final = (0, 3, 10, 30)


def chips_move(seed: int, chips: int, called: int, other: int | None = None) -> Floats:
    """By how much chipped lives of a key move its 10 % point, shape (keys,).

    Args:
        seed: Any number.
        chips: How many of its 30 lives end by a chip.
        called: Reason that is written down of them.
        other: Reason to compare with; None: with the same lives, worn as they were.
    """
    keys = draw_keys(_PLAIN, seed)
    table, kept = table_of(keys), keep_history(_PLAIN, keys, _LIVES, seed).kept
    moved = []
    for row in range(0, len(keys), _EVERY):
        rows = np.flatnonzero(kept.key == row)
        some = rows[np.linspace(0, len(rows) - 1, chips + 2).astype(int)[1:-1]]
        bad = _chipped(kept, some, called)
        good = kept if other is None else _chipped(kept, some, other)
        p10 = [_p10(fit(table, lives, Ablation()), keys, row) for lives in (bad, good)]
        moved.append(p10[0] / p10[1] - 1)
    return np.array(moved)


def chips_move_the_law(seed: int, chips: int) -> Floats:
    """By how much 10 % points move if so many of 30 edges really chip, shape (keys,)."""
    keys, points = draw_keys(_PLAIN, seed), []
    # Where an edge that lives on would chip in a usual life, a share 1 - exp(-chip) does.
    for chip in (-np.log1p(-chips / _LIVES), 1e-9):
        rng = np.random.default_rng(seed)
        world = replace(_PLAIN, chip=float(chip))
        law = draw_crowd(world, keys, 20_000, 0.0, rng, melts_known=False)
        points.append(np.quantile(law.ends, 0.1, axis=1))
    moved: Floats = points[0] / points[1] - 1
    return moved


def after_change(seed: int) -> dict[int, Floats]:
    """Told over true median of keys whose coating changed, by lives since, shape (keys,)."""
    keys, begin = draw_keys(_CHANGE, seed), int(_CHANGE.change_week)
    history = keep_history(_CHANGE, keys, begin + max(SINCE), seed)
    learner, result = Learner(keys, Ablation()), {}
    changed, zero = np.flatnonzero(keys.item % 2 == 0), np.zeros(len(keys))
    for since in SINCE:
        told = learner.learn(history.kept, begin + since).left(
            np.arange(len(keys)), zero, np.array([0.5])
        )
        # The first life after the change begins in its week.
        true: ByLaw = ask(_CHANGE, keys, float(begin + max(since, 1)), seed).now
        result[since] = told[changed, 0] / np.median(true.lives, axis=1)[changed]
    return result


def old_edge_asked_about(seed: int, known: int) -> bool:
    """Whether a removal at ten promised lives is kept for a person to check."""
    keys = draw_keys(_PLAIN, seed)
    kept = keep_history(_PLAIN, keys, max(known, 1), seed).until(known).kept
    return bool(fit(table_of(keys), _with_old_edge(kept, keys), Ablation()).aside)


def old_edge_planned(seed: int, known: int) -> str:
    """What the plan says of a mounted edge at ten promised lives."""
    keys = draw_keys(_PLAIN, seed)
    kept = keep_history(_PLAIN, keys, max(known, 1), seed).until(known).kept
    model = fit(table_of(keys), kept, Ablation())
    rows = ((day, "00:00", "24:00", True) for day in WEEKDAYS)
    now = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
    time = lay_out(
        WorkCalendar(spans_from_rows(list(rows)), "UTC"), now, now + timedelta(days=2)
    )
    work = plan_segments(time, [RunAhead("part", 1_000.0, 60.0)])
    edge = MountedEdge(
        1, 0, 0, OLD, (float(keys.wear_per_part[0]),),
        float(keys.planned_cost[0]), float(keys.failure_cost[0]),
    )  # fmt: skip
    machines = [MachineAhead("M1", time, work, 8 * 3_600.0)]
    plan = plan_swaps(machines, [edge], edges_due(machines, [edge], model), model)
    return plan.stations[0].first.why


def _chipped(kept: Records, some: Ints, called: int) -> Records:
    """The same lives, some of them chipped early; nobody looked at those."""
    change = np.isin(np.arange(len(kept)), some)
    early = np.where(change, _EARLY, 1.0)
    return replace(
        kept,
        wear=kept.wear * early,
        parts=np.maximum(np.rint(kept.parts * early), 1.0),
        ended=np.where(change, called, kept.ended),
        seen_share=np.where(change, np.nan, kept.seen_share),
        seen_at=np.where(change, np.nan, kept.seen_at),
        seen_kind=np.where(change, NOTHING_SEEN, kept.seen_kind),
    )


def _with_old_edge(kept: Records, keys: Keys) -> Records:
    one = keep_history(_PLAIN, keys, 1, 1).kept.take(np.array([0]))
    one = replace(
        one,
        wear=np.array([OLD]),
        parts=np.maximum(np.rint(OLD / keys.wear_per_part[one.key]), 1.0),
        ended=np.array([WORN]),
        seen_kind=np.array([NOTHING_SEEN]),
    )
    return kept.then(one)


def _p10(model: LifeModel, keys: Keys, row: int) -> float:
    key = np.array([row])
    left = model.remaining(key, np.zeros(1), keys.wear_per_part[key], np.array([0.1]))
    return float(left[0, 0])


def _row(label: str, moved: Sequence[float] | Floats, goal: str) -> str:
    worst = moved[int(np.argmax(np.abs(moved)))]
    return f"{label:58}{100 * np.mean(moved):+7.1f}%{100 * worst:+9.1f}%{goal:>9}"


def main() -> None:
    """Run the probes for the seeds asked for."""
    ask_for = argparse.ArgumentParser(description=__doc__)
    ask_for.add_argument("--seed", default="71,72,73,74")
    seeds = [int(seed) for seed in ask_for.parse_args().seed.split(",")]
    columns = f"{'mean':>8}{'worst':>10}{'goal':>9}"
    print(f"{'Chips among 30 lives of a key move its 10 % point':58}{columns}")
    chips: list[tuple[str, int, int, int | None, str]] = [
        ("one, called broken", 1, BROKEN, None, "3%"),
        ("one, called worn", 1, WORN, None, ""),
        ("one, called taken out early", 1, CENSORED, None, ""),
        ("three, called broken", 3, BROKEN, None, ""),
        ("three, called worn", 3, WORN, None, ""),
        ("three, called worn, over the same called broken", 3, WORN, BROKEN, "10%"),
    ]
    for label, count, called, other, goal in chips:
        moved = np.concatenate([chips_move(seed, count, called, other) for seed in seeds])
        print(_row(label, moved, goal), flush=True)
    for count in (1, 3):
        law = np.concatenate([chips_move_the_law(seed, count) for seed in seeds])
        print(_row(f"in truth, where {count} of 30 always chip", law, ""))
    print(
        f"\n{'Lives since the coating halved the life':58}{'bias':>8}{'worst':>10}{'goal':>9}"
    )
    changes = [after_change(seed) for seed in seeds]
    for since in SINCE:
        off = np.concatenate([change[since] for change in changes]) - 1
        print(_row(str(since), off, "15%" if since == 10 else ""), flush=True)
    print("\nAn edge at ten promised lives, by lives known of its key")
    for known in KNOWN:
        asked = np.mean([old_edge_asked_about(seed, known) for seed in seeds])
        plans = sorted({old_edge_planned(seed, known) for seed in seeds})
        print(
            f"{known:>4}: removed, asked about in {asked:4.0%} of shops; "
            f"mounted, the plan says {', '.join(plans)}"
        )


if __name__ == "__main__":
    main()
