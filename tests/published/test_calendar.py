"""Working hours against a worked example and the rules of summer time."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from crib.floor.calendar import ALWAYS, WEEKDAYS, WorkCalendar, week_span
from crib.floor.given_hours import Window, calendar_of
from crib.floor.parts_clock import PartsClock

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/calendar.json").read_text("utf-8")
    )
}


def test_a_job_over_the_weekend_ends_on_monday_morning(agrees):
    row = ROWS["j-07"]
    calendar = WorkCalendar(
        tuple(
            week_span(day, start, end, True)
            for day in WEEKDAYS[:5]
            for start, end in (("06:00", "14:00"), ("14:00", "22:00"))
        )
    )
    start = datetime.fromisoformat(row["inputs"]["start"]).replace(tzinfo=UTC)

    end = calendar.advance(start, row["inputs"]["need_min"] * 60)

    agrees(row, "end", row["expected"]["end"], f"{end:%Y-%m-%dT%H:%M}")


def test_the_parts_of_that_job_come_back_from_its_end(agrees):
    row = ROWS["j-07"]
    windows = [
        Window(day, start, end)
        for day in WEEKDAYS[:5]
        for start, end in (("06:00", "14:00"), ("14:00", "22:00"))
    ]
    start = datetime.fromisoformat(row["inputs"]["start"]).replace(tzinfo=UTC)
    clock = PartsClock(calendar_of(windows).stretches(start, start + timedelta(days=7)), 45)

    end = clock.finish(500)  # 375 min at 45 s, as the source has it

    agrees(row, "end of 500 parts", row["expected"]["end"], f"{end:%Y-%m-%dT%H:%M}")
    assert clock.parts_by(end) == 500


def test_one_hour_across_the_spring_change_is_one_hour(agrees):
    row = ROWS["j-09"]
    zone = ZoneInfo(row["inputs"]["zone"])
    start = datetime.fromisoformat(row["inputs"]["start_local"]).replace(tzinfo=zone)

    end = ALWAYS.advance(start, row["inputs"]["hours"] * 3600)

    assert end is not None
    local = end.astimezone(zone).replace(tzinfo=None)
    agrees(row, "end_local", row["expected"]["end_local"], f"{local:%Y-%m-%dT%H:%M}")


@pytest.mark.parametrize("name", ["night-spring", "night-autumn", "day-spring-us"])
def test_a_span_over_a_clock_change_has_its_real_length(agrees, name):
    row = ROWS[name]
    zone = ZoneInfo(row["inputs"]["zone"])
    start, end = (
        datetime.fromisoformat(row["inputs"][key]).replace(tzinfo=zone)
        for key in ("start_local", "end_local")
    )
    clock_end = f"{end:%H:%M}"
    calendar = WorkCalendar(
        tuple(week_span(day, f"{start:%H:%M}", clock_end, False) for day in WEEKDAYS), zone.key
    )

    stretches = calendar.stretches(start, end)

    running = calendar.running_seconds(start, end) / 3600
    agrees(row, "hours", row["expected"]["hours"], running)
    assert (
        sum((stretch.end_at - stretch.start_at).total_seconds() for stretch in stretches)
        == row["expected"]["hours"] * 3600
    )
