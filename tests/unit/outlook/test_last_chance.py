"""A swap that a night would interrupt has to begin earlier."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from crib.outlook.swaps_ahead import last_chance

NIGHT = datetime(2026, 1, 5, 21, 0, tzinfo=UTC)
LATER = NIGHT + timedelta(days=1)


@pytest.mark.parametrize(
    ("swap_by", "minutes", "begins"),
    [
        (NIGHT, 7, NIGHT - timedelta(minutes=7)),
        (NIGHT - timedelta(minutes=6), 7, NIGHT - timedelta(minutes=7)),
        (NIGHT - timedelta(minutes=7), 7, NIGHT - timedelta(minutes=7)),
        (NIGHT - timedelta(hours=1), 7, NIGHT - timedelta(hours=1)),
        (NIGHT + timedelta(hours=8), 7, NIGHT + timedelta(hours=8)),
        (LATER, 5, LATER - timedelta(minutes=5)),
        (NIGHT, 0, NIGHT),
    ],
)
def test_it_begins_so_early_that_it_is_over_before_the_night(swap_by, minutes, begins):
    assert last_chance(swap_by, timedelta(minutes=minutes), [NIGHT, LATER]) == begins


def test_without_a_night_it_may_begin_when_it_is_due():
    assert last_chance(NIGHT, timedelta(minutes=7), []) == NIGHT
