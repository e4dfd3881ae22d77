"""A shop of six machines over 300 days: cost, failures and nights, planner against counts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor

import numpy as np
import pytest

from tests.bench.forecast.months import (
    DARK_TIMES,
    DAYS,
    EXPERIENCE,
    HANDBOOK,
    NO_NIGHT_RULE,
    NO_SIGNALS,
    ORACLE,
    PLANNER,
    POLICIES,
    Months,
    by_decile,
    cost_ratios,
    live_through_all,
)
from tests.bench.forecast.worlds import WORLDS

_HEAD = (
    f"{'':24}{'cost over the':>20}{'dark':>7}{'fail':>7}{'used':>6}"
    f"  {'machine-nights with a failure':>31}\n"
    f"{'':24}{'handbook count (seeds)':>22}{'x3':>5}{'/1000':>7}{'share':>6}"
    f"  {'all':>6}{'forecast':>9}{'under 2 %':>10}{'of them':>8}"
)


def _share(rows: Sequence[Months], top: str, bottom: str) -> float:
    upper = sum(float(getattr(m, top).sum()) for m in rows)
    return upper / sum(float(getattr(m, bottom).sum()) for m in rows)


def _line(name: str, ours: Sequence[Months], counted: Sequence[Months]) -> str:
    ratios = cost_ratios(ours, counted)
    dark = float(cost_ratios(ours, counted, DARK_TIMES).mean())
    hurt = np.concatenate([m.hurt.ravel() for m in ours])
    foreseen = np.concatenate([m.foreseen.ravel() for m in ours])
    text = (
        f"{name:24}{ratios.mean():8.3f} ({ratios.min():.3f}-{ratios.max():.3f}){dark:6.2f}"
        f"{1000 * _share(ours, 'failures', 'lives'):7.0f}{_share(ours, 'lived', 'lives'):6.2f}"
        f"  {hurt.mean():6.1%}"
    )
    if np.isfinite(foreseen).all():
        safe = foreseen <= 0.02
        of_them = f"{hurt[safe].mean():8.1%}" if safe.any() else f"{'-':>8}"
        text += f"{foreseen.mean():9.1%}{safe.mean():10.0%}{of_them}"
    return text


@pytest.mark.bench
def test_a_shop_over_months(
    seeds: tuple[int, ...], two_processes: Executor, show: Callable[[str], None]
) -> None:
    """Each policy meets the same edges in the same stations, one after the other."""
    some = seeds[:2] if seeds == (1, 2, 3) else seeds
    show(f"\nsix machines, {DAYS} days, seeds {', '.join(map(str, some))}")
    extra = [NO_SIGNALS, NO_NIGHT_RULE]
    results = live_through_all(
        two_processes, WORLDS, some, [p for p in POLICIES if p not in extra]
    )
    few = some[:1] if some != seeds else some
    results |= live_through_all(two_processes, WORLDS[:2], few, extra)
    for world in WORLDS:
        counted = results[world.name, HANDBOOK]
        lines = [f"\n{world.name}", _HEAD]
        for name in POLICIES:
            if (world.name, name) in results:
                lines.append(_line(name, results[world.name, name], counted))
        for base in (HANDBOOK, EXPERIENCE, ORACLE):
            tenths = by_decile(results[world.name, PLANNER], results[world.name, base])
            figures = " ".join(f"{v:.2f}" for v in tenths)
            lines.append(f"planner over {base}, tenths of keys by life/promise: {figures}")
            assert np.all(np.isfinite(tenths))
        show("\n".join(lines))
    for rows in results.values():
        for months in rows:
            assert np.all(months.use > 0)
            assert np.all(np.isfinite(months.cost))
            assert months.hurt.shape == (DAYS, 6)
            assert not np.any((months.foreseen < 0) | (months.foreseen > 1))
