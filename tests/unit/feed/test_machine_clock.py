"""A machine's clock is told to be off where that is sure, not where its data is only late."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from crib.feed.machine_clock import MachineClock

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def test_a_time_ahead_is_off_however_it_came() -> None:
    assert MachineClock().look([NOW - MINUTE, NOW + 10 * MINUTE], NOW, None) == 10 * MINUTE
    assert MachineClock().look([NOW + MINUTE], NOW, None) == timedelta(0)


def test_a_time_behind_is_off_where_nothing_can_be_late_and_it_stays_so() -> None:
    clock = MachineClock()
    live = NOW - timedelta(seconds=1)
    assert clock.look([NOW - 10 * MINUTE], NOW, live) is None
    assert clock.look([NOW - 10 * MINUTE], NOW, live) == -10 * MINUTE
    assert clock.look([NOW], NOW, live) == timedelta(0)
    assert clock.look([NOW - 10 * MINUTE], NOW, live) is None


def test_late_data_says_nothing_of_the_clock() -> None:
    clock = MachineClock()
    assert [clock.look([NOW - 10 * MINUTE], NOW, None) for _ in range(3)] == [None] * 3
    # one answer after a long silence: anything since then may be in it
    assert clock.look([NOW - 9 * MINUTE], NOW, NOW - 10 * MINUTE) == timedelta(0)
    assert clock.look([], NOW, NOW) is None
