"""The bench's queue through shifts, and what it says of work that is late."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from crib.errors import Invalid
from crib.floor.calendar import ALWAYS, WEEKDAYS, WorkCalendar, week_span
from crib.planning.bench import (
    BenchJob,
    add_bench_time,
    bench_jobs,
    bench_queue,
    latest_start,
)
from crib.planning.bench_order import OrderJob, order_jobs
from crib.planning.hours import BenchHours
from crib.planning.shelf import Sister, SwapNeed

# A Monday; the bench works from 06:00 to 14:00 UTC on weekdays.
MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
DAY_SHIFT = WorkCalendar(tuple(week_span(day, "06:00", "14:00", True) for day in WEEKDAYS[:5]))


def _at(day, clock):
    hours, minutes = clock.split(":")
    return MONDAY + timedelta(days=day, hours=int(hours), minutes=int(minutes))


def _hours(day, clock):
    return BenchHours.of(DAY_SHIFT, _at(day, clock))


def _job(name, minutes, due_at, release_at=None, need=None):
    return BenchJob(name, "build", minutes, due_at, release_at, need)


def test_work_pauses_overnight_and_goes_on_with_the_next_shift():
    queue = bench_queue([_job("A", 60, _at(1, "08:00"))], _hours(0, "13:30"))

    (row,) = queue.rows
    assert (row.start_at, row.finish_at) == (_at(0, "13:30"), _at(1, "06:30"))
    assert (row.lateness_minutes, row.late, row.cause) == (-90, False, None)


def test_a_job_that_ends_with_the_shift_lets_the_next_begin_in_the_morning():
    queue = bench_queue(
        [_job("A", 30, _at(1, "08:00")), _job("B", 10, _at(1, "09:00"))], _hours(0, "13:30")
    )

    assert queue.rows[0].finish_at == _at(0, "14:00")
    assert queue.rows[1].start_at == _at(1, "06:00")


def test_in_the_night_the_bench_begins_with_the_shift():
    queue = bench_queue([_job("A", 10, _at(0, "06:10"))], _hours(0, "02:00"))

    assert queue.rows[0].start_at == queue.rows[0].opens_at == _at(0, "06:00")
    assert not queue.rows[0].late
    by_day = bench_queue([_job("A", 10, _at(0, "06:10"))], _hours(0, "06:00"))
    assert by_day.rows[0].opens_at is None


def test_a_weekend_is_closed():
    queue = bench_queue([_job("A", 20, _at(6, "12:00"))], _hours(4, "13:50"))

    assert queue.rows[0].finish_at == _at(7, "06:10")
    assert queue.rows[0].cause == "too_soon"


def test_unattended_hours_are_no_bench_hours():
    calendar = WorkCalendar((week_span("mon", "06:00", "14:00", False),))

    queue = bench_queue([_job("A", 1, _at(0, "12:00"))], BenchHours.of(calendar, MONDAY))

    row = queue.rows[0]
    assert (row.start_at, row.finish_at, row.lateness_minutes) == (None, None, None)
    assert row.late
    assert queue.greatest_lateness_minutes is None


def test_the_job_due_first_waits_for_its_holder_while_another_is_done():
    jobs = [
        _job("first", 10, _at(0, "08:00"), release_at=_at(0, "06:15")),
        _job("second", 30, _at(0, "09:00")),
        _job("third", 30, _at(0, "10:00")),
    ]

    queue = bench_queue(jobs, _hours(0, "06:00"))

    assert [row.job.name for row in queue.rows] == ["second", "first", "third"]
    assert [row.position for row in queue.rows] == [1, 2, 3]


def test_the_bench_idles_until_the_only_holder_comes():
    queue = bench_queue(
        [_job("A", 10, _at(0, "09:00"), release_at=_at(0, "08:00"))], _hours(0, "06:00")
    )

    assert queue.rows[0].start_at == _at(0, "08:00")


def test_each_late_job_has_its_cause():
    jobs = [
        _job("buried", 30, _at(0, "06:40")),
        _job("on top", 30, _at(0, "06:30")),
        _job("holder", 30, _at(0, "09:00"), release_at=_at(0, "08:45")),
        _job("too soon", 30, _at(0, "06:20")),
    ]

    queue = bench_queue(jobs, _hours(0, "06:00"))

    causes = {row.job.name: row.cause for row in queue.rows}
    assert causes == {
        "too soon": "too_soon",
        "on top": "bench_time",
        "buried": "bench_time",
        "holder": "holder",
    }


def test_the_fewest_late_jobs_are_named():
    jobs = [
        _job("long", 100, _at(0, "08:00")),
        _job("a", 40, _at(0, "08:10")),
        _job("b", 40, _at(0, "08:20")),
        _job("c", 40, _at(0, "08:30")),
    ]

    queue = bench_queue(jobs, _hours(0, "06:00"))

    assert queue.late_names == ("a", "b", "c")
    assert queue.fewest_late_names == ("long",)


def test_relief_says_how_many_minutes_before_when():
    jobs = [
        _job("A", 50, _at(0, "07:00")),
        _job("B", 25, _at(0, "07:00")),
        _job("C", 5, _at(0, "08:00")),
        _job("D", 90, _at(0, "08:30")),
        # Nobody can build 30 minutes in 20: that is no matter of bench time.
        _job("E", 30, _at(0, "06:20")),
    ]

    queue = bench_queue(jobs, _hours(0, "06:00"))

    assert [(step.minutes, step.before_at) for step in queue.relief] == [
        (15, _at(0, "07:00")),
        (20, _at(0, "08:30")),
    ]


def test_relief_tells_dues_of_one_night_apart():
    jobs = [_job("A", 30, _at(0, "23:00")), _job("B", 20, _at(0, "22:00"))]

    queue = bench_queue(jobs, _hours(0, "13:50"))

    assert [(step.minutes, step.before_at) for step in queue.relief] == [
        (10, _at(0, "22:00")),
        (40, _at(0, "23:00")),
    ]


def test_the_latest_start_walks_back_over_the_night():
    hours = _hours(0, "12:00")

    assert latest_start(_at(1, "06:30"), 60, hours) == _at(0, "13:30")
    # 240 minutes before 10:00 the shift begins; nobody has to begin the evening before.
    assert latest_start(_at(1, "10:00"), 240, hours) == _at(1, "06:00")
    assert latest_start(_at(0, "23:00"), 30, hours) == _at(0, "13:30")
    assert latest_start(_at(0, "11:00"), 30, hours) == _at(0, "10:30")
    assert latest_start(_at(0, "23:00"), 0, hours) == _at(0, "23:00")


def test_a_start_before_all_known_hours_is_not_known():
    assert latest_start(_at(0, "11:00"), 60 * 8 * 60, _hours(0, "12:00")) is None


def test_a_bench_that_never_closes_adds_plain_minutes():
    hours = BenchHours.of(ALWAYS, _at(0, "23:50"))

    assert hours.finish(_at(0, "23:55"), 20) == _at(1, "00:15")
    assert _hours(0, "10:00").finish(_at(0, "13:50"), 20) == _at(1, "06:10")
    assert _hours(0, "10:00").finish(_at(0, "13:50"), 1e9).year == 9999


def test_the_clock_change_takes_no_minute_from_the_bench():
    night = WorkCalendar((week_span("sat", "22:00", "06:00", True),), "Europe/Paris")
    # From 22:00 local to 06:00 there are seven hours on the night the clocks go forward.
    evening = datetime(2026, 3, 28, 21, tzinfo=UTC)

    hours = BenchHours.of(night, evening)

    assert hours.work_until(evening + timedelta(days=1)) == 7 * 3600 * 10**6
    assert hours.finish(evening, 420) == datetime(2026, 3, 29, 4, tzinfo=UTC)


@pytest.mark.parametrize("spans", [[(1, 3), (2, 4)], [(2, 2)], [(3, 4), (1, 2)]])
def test_spans_that_overlap_or_run_backwards_are_refused(spans):
    instants = [(_at(0, f"{start}:00"), _at(0, f"{end}:00")) for start, end in spans]

    with pytest.raises(Invalid, match="disjoint"):
        BenchHours(instants, MONDAY)


def _needs(count):
    return [
        SwapNeed(i, "M1", f"T{i}", i, 1, "turn", None, 0, _at(0, "07:00")) for i in range(count)
    ]


def test_only_what_has_to_be_built_or_measured_becomes_bench_work():
    sisters = [
        Sister("ready", assembly="A1"),
        Sister("measure", assembly="A2", minutes=6),
        Sister("build", holder="H1", minutes=20, holder_from=_at(0, "06:30")),
        Sister("blocked", minutes=20),
    ]

    jobs = bench_jobs(_needs(4), sisters)

    assert jobs == [
        BenchJob("M1/T1#0", "measure", 6, _at(0, "07:00"), None, 1),
        BenchJob("M1/T2#0", "build", 20, _at(0, "07:00"), _at(0, "06:30"), 2),
    ]


def test_a_sister_that_is_done_too_late_misses_bench_time():
    sisters = [Sister("ready", assembly="A1")] + [
        Sister("build", holder=f"H{i}", minutes=40) for i in range(2)
    ]
    queue = bench_queue(bench_jobs(_needs(3), sisters), _hours(0, "06:00"))

    told = add_bench_time(sisters, queue)

    assert [sister.state for sister in told] == ["ready", "build", "build"]
    assert [[(m.what, m.wanted) for m in s.missing] for s in told] == [
        [],
        [],
        [("bench_time", 20)],
    ]
    assert told[2].missing[0].sentence == ("Ready 20 min late: other work is due before it.")


@pytest.mark.parametrize(
    ("now", "due", "why"),
    [
        ("02:00", "06:30", "nobody at the bench before 2026-03-02T06:00:00Z"),
        ("06:10", "06:30", "the swap is due before it can be done"),
        ("13:50", "23:00", "the bench closes before it is done"),
    ],
)
def test_a_sister_that_not_even_work_at_once_saves_says_why(now: str, due: str, why: str):
    sister = Sister("build", holder="H1", minutes=40)
    need = replace(_needs(1)[0], swap_by=_at(0, due))
    queue = bench_queue(bench_jobs([need], [sister]), _hours(0, now))

    (told,) = add_bench_time([sister], queue)

    assert queue.rows[0].cause == "too_soon"
    assert told.missing[0].sentence.endswith(f" late: {why}.")


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(60, "1 h"), (76, "1 h 16 min"), (456, "7 h 36 min"), (3141, "2 days 4 h")],
)
def test_a_long_delay_is_told_in_hours_and_minutes(minutes: int, said: str):
    sisters = [Sister("build", holder="H1", minutes=60 + minutes)]
    hours = BenchHours.of(ALWAYS, _at(0, "06:00"))
    queue = bench_queue(bench_jobs(_needs(1), sisters), hours)

    told = add_bench_time(sisters, queue)

    assert told[0].missing[0].sentence.startswith(f"Ready {said} late: ")


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ("02:00", "ready 6 h 40 min later: nobody at the bench before 2026-03-02T06:00:00Z."),
        ("06:10", "ready 6 h 50 min later."),
    ],
)
def test_a_sister_that_is_overdue_is_late_from_when_the_swap_was_due(now: str, said: str):
    sister = Sister("build", holder="H1", minutes=40)
    since = _at(0, "00:00")
    need = replace(_needs(1)[0], swap_by=_at(0, now), due_since=since)
    queue = bench_queue(bench_jobs([need], [sister]), _hours(0, now))

    (told,) = add_bench_time([sister], queue)

    assert told.missing[0].sentence == f"Due since 2026-03-02T00:00:00Z, {said}"


def test_no_work_is_no_trouble():
    queue = bench_queue([], _hours(0, "06:00"))

    assert (queue.rows, queue.late_names, queue.relief) == ((), (), ())
    assert order_jobs([]).greatest_lateness_min == 0


@pytest.mark.parametrize(
    ("jobs", "field"),
    [
        ([OrderJob("A", -1, 2)], "jobs.0.minutes"),
        ([OrderJob("A", float("nan"), 2)], "jobs.0.minutes"),
        ([OrderJob("A", 1e300, 2)], "jobs.0.minutes"),
        ([OrderJob("A", 1, float("inf"))], "jobs.0.due_min"),
        ([OrderJob("A", 1, float("nan"))], "jobs.0.due_min"),
        ([OrderJob("A", 1, 2), OrderJob("A", 1, 2)], "jobs.1.name"),
        ([OrderJob("", 1, 2)], "jobs.0.name"),
    ],
)
def test_jobs_that_mean_nothing_are_refused_by_field(jobs, field):
    with pytest.raises(Invalid) as refused:
        order_jobs(jobs)

    assert [error["field"] for error in refused.value.errors] == [field]


def test_without_attended_hours_nothing_is_ever_finished():
    closed = BenchHours([], MONDAY)

    assert closed.instant_after(0) is None
    assert closed.finish(MONDAY, 5) > MONDAY.replace(year=9000)
