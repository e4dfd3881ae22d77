"""Running time against the clock, and the plan laid over it."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.floor.week import WeekSpan
from crib.planning.ahead import NEVER_US, lay_out
from crib.planning.demand import RunAhead, plan_segments, wear_ahead

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
HOUR = 3600.0
# attended 06-14, unattended 14-22, closed at night
CALENDAR = WorkCalendar(
    tuple(
        span
        for day in range(7)
        for span in (WeekSpan(day, 360, 840, True), WeekSpan(day, 840, 1320, False))
    ),
    "UTC",
)


@pytest.fixture
def time():
    return lay_out(CALENDAR, MONDAY + timedelta(hours=12), MONDAY + timedelta(days=7))


def test_running_seconds_skip_the_closed_night(time):
    at = time.clock_us([0.0, 2 * HOUR, 10 * HOUR, 10.5 * HOUR])

    assert at.tolist() == [
        us_of(MONDAY + timedelta(hours=12)),
        us_of(MONDAY + timedelta(hours=14)),
        us_of(MONDAY + timedelta(hours=22)),
        us_of(MONDAY + timedelta(days=1, hours=6.5)),
    ]


def test_an_instant_beyond_the_layout_never_comes(time):
    assert time.clock_us([1e9, np.inf]).tolist() == [NEVER_US, NEVER_US]


def test_clock_and_running_seconds_undo_each_other(time):
    for hours in (0.5, 3.0, 11.0, 40.0):
        assert time.seconds_at(int(time.clock_us(hours * HOUR))) == pytest.approx(hours * HOUR)


def test_a_swap_that_nobody_is_there_for_comes_forward(time):
    assert time.last_attended(5 * HOUR) == (2 * HOUR, True)
    assert time.last_attended(1 * HOUR) == (1 * HOUR, False)
    assert time.next_unattended() == (2 * HOUR, 10 * HOUR)
    assert time.unattended_end(2 * HOUR) == 10 * HOUR


def test_runs_follow_each_other_and_wait_for_their_start(time):
    segments = plan_segments(
        time,
        [
            RunAhead("bush", 60, 60.0),
            RunAhead("pin", 30, 60.0, us_of(MONDAY + timedelta(hours=14))),
        ],
    )

    assert segments.run.tolist() == [0, -1, 1]
    assert segments.end_s.tolist() == [HOUR, 2 * HOUR, 2.5 * HOUR]
    assert segments.parts_at([0.5 * HOUR, 1.5 * HOUR, 9 * HOUR]).tolist() == [30, 60, 90]


def test_a_run_without_end_fills_the_time(time):
    segments = plan_segments(time, [RunAhead("bush", float("inf"), 30.0)])

    assert segments.length_s == time.length_s


def test_wear_stands_still_while_another_part_leaves_the_station_idle(time):
    segments = plan_segments(
        time, [RunAhead("a", 60, 60.0), RunAhead("b", 60, 60.0), RunAhead("a", 60, 60.0)]
    )
    line = wear_ahead(segments, [0.01, 0.0, 0.01])

    worn = [line.at(hour * HOUR) for hour in (0, 1, 2, 3, 9)]
    assert worn == pytest.approx([0, 0.6, 0.6, 1.2, 1.2])
    until = [line.seconds_until(wear) for wear in (0.0, 0.3, 0.6, 0.9)]
    assert until == pytest.approx([0, 0.5 * HOUR, HOUR, 2.5 * HOUR])
    assert line.seconds_until(1.21) == np.inf


def test_a_station_without_any_run_never_wears(time):
    line = wear_ahead(plan_segments(time, []), [])

    assert line.at(HOUR) == 0
    assert line.seconds_until(0.1) == np.inf


def test_a_pace_of_each_kind_stretches_the_clock_and_comes_back(time):
    slow = time.paced(1.0, 0.5)

    # two attended hours, then eight that count half
    assert slow.clock_at(3 * HOUR) == us_of(MONDAY + timedelta(hours=16))
    assert slow.clock_us([2 * HOUR, 6 * HOUR]).tolist() == [
        us_of(MONDAY + timedelta(hours=14)),
        us_of(MONDAY + timedelta(hours=22)),
    ]
    assert slow.next_unattended() == (2 * HOUR, 6 * HOUR)
    assert slow.unattended_end(2 * HOUR) == 6 * HOUR
    assert slow.length_s == pytest.approx(time.length_s - 8 * 0.5 * 7 * HOUR)
    for hours in (0.5, 3.0, 5.9, 30.0):
        assert slow.seconds_at(slow.clock_at(hours * HOUR)) == pytest.approx(hours * HOUR)
        assert slow.clock_at(hours * HOUR) == slow.clock_us(hours * HOUR)
