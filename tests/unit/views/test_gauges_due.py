"""Which gauges to check: those that do not last the shift, and who has to act on them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from crib.floor.calendar import ALWAYS, WEEKDAYS, WorkCalendar, week_span
from crib.views.gauge_state import GaugeDue, checks_due, shift_end

NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)
END = NOW + timedelta(hours=8)


def states(**hours: float | None) -> list[Any]:
    """Gauges by the hours that their checks still hold; None where none does."""
    return [
        SimpleNamespace(
            row=SimpleNamespace(gauge=name),
            valid_until=None if left is None else NOW + timedelta(hours=left),
        )
        for name, left in hours.items()
    ]


def due(**hours: float | None) -> list[tuple[str, float | None, bool]]:
    found: list[GaugeDue] = checks_due(states(**hours), NOW, END)
    return [
        (one.gauge, one.until and (one.until - NOW) / timedelta(hours=1), one.spare)
        for one in found
    ]


def test_one_that_runs_out_within_the_shift_is_named_before_the_spare() -> None:
    assert due(P2=None, P1=2) == [("P1", 2, False), ("P2", None, True)]


def test_where_another_lasts_the_shift_nobody_has_to_act() -> None:
    assert due(P1=2, P2=None, P3=9) == [("P2", None, True), ("P1", 2, True)]
    assert due(P3=9) == []


def test_one_that_does_not_count_is_no_spare_where_the_others_run_out_at_once() -> None:
    assert due(P1=0.5, P2=None) == [("P2", None, False), ("P1", 0.5, False)]
    assert due(P1=None) == [("P1", None, False)]


DAY_SHIFT = WorkCalendar(tuple(week_span(day, "06:00", "14:00", True) for day in WEEKDAYS[:5]))


def _march(day: int, hour: int) -> datetime:
    return datetime(2026, 3, day, hour, tzinfo=UTC)


@pytest.mark.parametrize(
    ("now", "end"),
    [
        ((2, 6), (2, 14)),
        ((2, 4), (2, 14)),
        ((2, 15), (3, 14)),
        ((6, 14), (9, 14)),  # over the weekend
    ],
)
def test_the_shift_is_the_one_that_is_on_or_comes_next(
    now: tuple[int, int], end: tuple[int, int]
) -> None:
    shop: Any = SimpleNamespace(now=_march(*now), bench=DAY_SHIFT)

    assert shift_end(shop) == _march(*end)


def test_a_bench_that_never_closes_has_shifts_of_twelve_hours() -> None:
    shop: Any = SimpleNamespace(now=NOW, bench=ALWAYS)

    assert shift_end(shop) == NOW + timedelta(hours=12)
