"""A swap that is late for its edge may still be made before the night."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from crib.outlook.before_nights import can_be_made_before

BEGINS = datetime(2026, 1, 5, 21, 0, tzinfo=UTC)


def row(state: str, ready_before: timedelta | None) -> SimpleNamespace:
    ready_by = None if ready_before is None else BEGINS - ready_before
    return SimpleNamespace(
        blocked=state == "blocked",
        forecast=SimpleNamespace(station_id=1),
        ready_by=ready_by,
        late=True,
    )


@pytest.mark.parametrize(
    ("state", "ready_before", "can"),
    [
        ("ready", None, True),
        ("measure", timedelta(hours=8), True),
        ("build", timedelta(minutes=10), True),
        ("build", timedelta(minutes=9), False),
        ("measure", timedelta(hours=-1), False),
        ("blocked", None, False),
        ("blocked", timedelta(hours=8), False),
    ],
)
def test_the_sister_has_to_be_ready_and_swapped_in_before_it_begins(state, ready_before, can):
    assert can_be_made_before(row(state, ready_before), BEGINS, {1: 10.0}) is can


def test_a_swap_of_unknown_minutes_needs_its_sister_before_it_begins():
    assert can_be_made_before(row("build", timedelta(0)), BEGINS, {1: None})
