"""The bench's order against a textbook, worked examples and every permutation."""

import json
from datetime import UTC, datetime
from pathlib import Path

from crib.floor.calendar import WEEKDAYS, WorkCalendar, week_span
from crib.planning.bench import BenchJob, bench_queue
from crib.planning.bench_order import OrderJob, order_jobs
from crib.planning.hours import BenchHours

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/scheduling.json").read_text("utf-8")
    )
}


def _order(row):
    work = zip(row["inputs"]["minutes"], row["inputs"]["due_min"], strict=True)
    return order_jobs([OrderJob(str(place), *job) for place, job in enumerate(work, start=1)])


def test_the_textbook_example_has_two_late_jobs(agrees):
    row = ROWS["j-01"]

    ours = _order(row)

    agrees(row, "fewest_late", row["expected"]["fewest_late"], ours.fewest_late)
    agrees(row, "names", row["expected"]["fewest_late_names"], list(ours.fewest_late_names))
    agrees(row, "order", row["expected"]["order"], list(ours.fewest_late_order))


def test_the_earliest_due_date_goes_first(agrees):
    row = ROWS["j-03"]

    ours = _order(row)

    agrees(row, "order", row["expected"]["order"], [job.name for job in ours.order])
    late = row["expected"]["greatest_lateness_min"]
    agrees(row, "greatest_lateness_min", late, ours.greatest_lateness_min)


def test_as_few_jobs_are_late_as_can_be(agrees):
    row = ROWS["j-06"]

    agrees(row, "fewest_late", row["expected"]["fewest_late"], _order(row).fewest_late)


def test_bench_work_begun_on_friday_evening_ends_on_monday_morning(agrees):
    row = ROWS["j-07"]
    spans = tuple(
        week_span(day, *shift, True)
        for day in WEEKDAYS[: row["inputs"]["days"]]
        for shift in row["inputs"]["shifts"]
    )
    start_at, end_at = (
        datetime.fromisoformat(text).replace(tzinfo=UTC)
        for text in (row["inputs"]["start"], row["expected"]["end"])
    )
    hours = BenchHours.of(WorkCalendar(spans), start_at)

    queue = bench_queue([BenchJob("all", "build", row["inputs"]["need_min"], end_at)], hours)

    finish = f"{queue.rows[0].finish_at:%Y-%m-%dT%H:%M}"
    agrees(row, "end", row["expected"]["end"], finish)
    assert queue.rows[0].start_by == start_at
    assert not queue.rows[0].late
