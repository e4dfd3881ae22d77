"""Stops that a machine makes anyway: where bars end, shifts start and runs change."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crib.floor.calendar import WorkCalendar
from crib.floor.week import WeekSpan
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead
from crib.planning.stops_ahead import KINDS, Bar, stops_ahead

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = 3600.0
ROUND = tuple(WeekSpan(day, 0, 1440, True) for day in range(7))
NIGHTS = tuple(
    span
    for day in range(7)
    for span in (WeekSpan(day, 360, 1320, True), WeekSpan(day, 1320, 1800, False))
)


def _machine(*runs, spans=ROUND):
    time = lay_out(WorkCalendar(spans, "UTC"), MONDAY, MONDAY + timedelta(days=9))
    return MachineAhead("M1", time, plan_segments(time, runs), 8 * HOUR)


def _named(stops):
    return [
        (KINDS[kind], second)
        for second, kind in zip(stops.seconds.tolist(), stops.kind.tolist(), strict=True)
    ]


def test_bars_end_after_the_parts_left_in_the_first_and_then_regularly():
    machine = _machine(RunAhead("pin", float("inf"), 60.0))
    stops = stops_ahead(machine, [Bar(100, 30.0)], (), 6 * HOUR)

    assert _named(stops) == [("bar_change", 60.0 * parts) for parts in (70, 170, 270)]
    assert stops.minutes().tolist() == [3.0, 3.0, 3.0]


@pytest.mark.parametrize(
    ("bar", "left"),
    [(Bar(100, 0.0), 100), (Bar(100, 250.0), 50), (Bar(100, 300.0), 100), (Bar(100), 50)],
)
def test_parts_left_in_a_bar(bar, left):
    assert bar.left == left


def test_a_run_without_bar_lengths_has_no_bar_changes():
    machine = _machine(RunAhead("pin", float("inf"), 60.0))

    assert not stops_ahead(machine, [None], (), 6 * HOUR).seconds.size


def test_a_changeover_is_a_stop_and_begins_a_new_bar():
    machine = _machine(RunAhead("pin", 90, 60.0), RunAhead("bush", float("inf"), 30.0))
    stops = stops_ahead(machine, [Bar(60, 10.0), Bar(40, 0.0)], (), 2 * HOUR)

    assert _named(stops) == [
        ("bar_change", 3_000.0),
        ("changeover", 5_400.0),
        ("bar_change", 6_600.0),
    ]


def test_a_wait_before_a_run_is_no_changeover_of_its_own():
    later = RunAhead("bush", float("inf"), 30.0, int((MONDAY.timestamp() + 4 * HOUR) * 1e6))
    stops = stops_ahead(_machine(RunAhead("pin", 60, 60.0), later), [None, None], (), 9 * HOUR)

    assert _named(stops) == [("changeover", 4 * HOUR)]


def test_only_stops_with_somebody_there_count():
    machine = _machine(RunAhead("pin", float("inf"), 60.0), spans=NIGHTS)
    stops = stops_ahead(machine, [Bar(120, 0.0)], (), 27 * HOUR)
    hours = stops.seconds / HOUR

    # a bar lasts two hours; from 22:00 (16 h ahead) to 6:00 (24 h ahead) nobody is there
    assert hours.tolist() == [2, 4, 6, 8, 10, 12, 14, 16, 26]


def test_a_shift_that_follows_a_night_starts_just_after_it():
    machine = _machine(RunAhead("pin", float("inf"), 60.0), spans=NIGHTS)
    stops = stops_ahead(machine, [None], (8 * HOUR, 24 * HOUR), 48 * HOUR)

    assert [name for name, _ in _named(stops)] == ["shift_start"] * 2
    assert stops.seconds == pytest.approx(np.array([8, 24]) * HOUR, abs=0.01)
    for second in stops.seconds.tolist():
        assert not machine.time.last_attended(second)[1]
