"""The demo's clock: a minute per second, the same in every process."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest

from crib.clock import FastClock
from crib.errors import Invalid

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def test_a_simulated_minute_passes_in_a_second():
    clock = FastClock(START, 60.0, began=time.time() - 10)
    assert timedelta(minutes=10) <= clock() - START < timedelta(minutes=12)


def test_the_clock_never_runs_before_its_start():
    assert FastClock(START, began=time.time() + 1_000)() == START


def test_a_clock_handed_on_as_text_tells_the_same_time():
    clock = FastClock(START, 7.5, began=1_700_000_000.25)
    assert FastClock.from_text(clock.to_text()) == clock


@pytest.mark.parametrize("text", ["", "noon", "2026-03-02T09:00:00Z;60", "2026-03-02;60;1"])
def test_a_text_that_sets_no_clock_is_refused(text):
    with pytest.raises(Invalid):
        FastClock.from_text(text)
