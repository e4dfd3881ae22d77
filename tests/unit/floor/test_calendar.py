"""Shifts, nights and clock changes of one machine."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from crib.errors import Invalid
from crib.floor.calendar import (
    ALWAYS,
    WEEKDAYS,
    Stretch,
    WeekSpan,
    WorkCalendar,
    parse_clock,
    print_clock,
    spans_from_rows,
    week_span,
)
from crib.floor.given_hours import GivenClosure, calendar_of

PARIS = ZoneInfo("Europe/Paris")


def paris(*args):
    return datetime(*args, tzinfo=PARIS)


#: Two attended shifts on working days; the nights between them run unattended, and so does
#: the time from Friday night to Saturday noon.
SHOP = WorkCalendar(
    spans_from_rows(
        [
            *[(day, "06:00", "14:00", True) for day in WEEKDAYS[:5]],
            *[(day, "14:00", "22:00", True) for day in WEEKDAYS[:5]],
            *[(day, "22:00", "06:00", False) for day in WEEKDAYS[:4]],
            ("fri", "22:00", "24:00", False),
            ("sat", "00:00", "12:00", False),
        ]
    ),
    "Europe/Paris",
)


def test_a_day_is_cut_into_attended_and_unattended_stretches():
    # Thursday morning to Friday morning, in winter one hour ahead of UTC.
    stretches = SHOP.stretches(paris(2026, 1, 15, 5), paris(2026, 1, 16, 7))

    assert stretches == [
        Stretch(paris(2026, 1, 15, 5), paris(2026, 1, 15, 6), False),
        Stretch(paris(2026, 1, 15, 6), paris(2026, 1, 15, 22), True),
        Stretch(paris(2026, 1, 15, 22), paris(2026, 1, 16, 6), False),
        Stretch(paris(2026, 1, 16, 6), paris(2026, 1, 16, 7), True),
    ]
    assert all(stretch.start_at.tzinfo == UTC for stretch in stretches)


def test_unattended_spans_that_touch_are_one_stretch():
    stretch = SHOP.next_unattended(paris(2026, 1, 16, 10))

    assert stretch == Stretch(paris(2026, 1, 16, 22), paris(2026, 1, 17, 12), False)


def test_an_unattended_stretch_in_progress_is_given_whole():
    stretch = SHOP.next_unattended(paris(2026, 1, 17, 3))

    assert stretch == Stretch(paris(2026, 1, 16, 22), paris(2026, 1, 17, 12), False)


def test_the_current_shift_is_the_one_that_the_calendar_states():
    early, late = (
        SHOP.current_shift(paris(2026, 1, 15, 6)),
        SHOP.current_shift(paris(2026, 1, 15, 14)),
    )

    assert early == Stretch(paris(2026, 1, 15, 6), paris(2026, 1, 15, 14), True)
    assert late == Stretch(paris(2026, 1, 15, 14), paris(2026, 1, 15, 22), True)


def test_between_shifts_the_next_one_is_given():
    shift = SHOP.current_shift(paris(2026, 1, 18, 9))

    assert shift == Stretch(paris(2026, 1, 19, 6), paris(2026, 1, 19, 14), True)


def test_where_spans_overlap_somebody_is_there_if_any_says_so():
    calendar = WorkCalendar((WeekSpan(0, 0, 1440, False), WeekSpan(0, 360, 840, True)))
    monday = datetime(2026, 1, 19, tzinfo=UTC)

    kinds = [
        ((stretch.end_at - stretch.start_at).total_seconds() / 3600, stretch.attended)
        for stretch in calendar.stretches(monday, monday + timedelta(days=1))
    ]

    assert kinds == [(6, False), (8, True), (10, False)]
    assert calendar.current_shift(monday + timedelta(hours=7)) == Stretch(
        monday + timedelta(hours=6), monday + timedelta(hours=14), True
    )


def test_the_person_who_is_there_counts_even_if_a_lights_out_span_began_later():
    calendar = WorkCalendar((WeekSpan(0, 360, 840, True), WeekSpan(0, 420, 540, False)))
    monday = datetime(2026, 1, 19, tzinfo=UTC)

    shift = calendar.current_shift(monday + timedelta(hours=8))

    assert shift == Stretch(monday + timedelta(hours=6), monday + timedelta(hours=14), True)


def test_a_stretch_in_progress_is_followed_back_for_a_month():
    nobody = WorkCalendar(tuple(WeekSpan(day, 0, 1440, False) for day in range(7)))
    first = datetime(2026, 3, 1, tzinfo=UTC)

    stretch = nobody.next_unattended(first)

    assert stretch is not None
    assert stretch.start_at <= first - timedelta(days=30)
    assert stretch.end_at >= first + timedelta(days=366)


@pytest.mark.parametrize(("day", "hours"), [((2026, 3, 28), 7), ((2026, 10, 24), 9)])
def test_the_night_of_a_clock_change_is_an_hour_shorter_or_longer(day, hours):
    nights = WorkCalendar((week_span("sat", "22:00", "06:00", False),), "Europe/Paris")
    start = paris(*day, 22)

    stretch = nights.next_unattended(start - timedelta(hours=1))

    assert stretch is not None
    assert (stretch.end_at - stretch.start_at).total_seconds() == hours * 3600
    assert nights.running_seconds(start, start + timedelta(days=2)) == hours * 3600


@pytest.mark.parametrize(
    ("day", "start", "end", "hours"),
    [
        # 02:30 does not exist in spring: it is read as 03:30 summer time
        ((2026, 3, 29), "02:30", "05:00", 1.5),
        ((2026, 3, 28), "22:00", "02:30", 4.5),
        # 02:30 comes twice in autumn: the first is meant, at either end of a span
        ((2026, 10, 25), "02:30", "05:00", 3.5),
        ((2026, 10, 24), "22:00", "02:30", 4.5),
        ((2026, 3, 29), "00:00", "24:00", 23),
        ((2026, 10, 25), "00:00", "24:00", 25),
    ],
)
def test_a_span_that_meets_a_clock_change_is_read_by_one_rule(day, start, end, hours):
    weekday = WEEKDAYS[datetime(*day, tzinfo=PARIS).weekday()]
    calendar = WorkCalendar((week_span(weekday, start, end, True),), "Europe/Paris")

    begin = paris(*day)

    assert calendar.running_seconds(begin, begin + timedelta(days=3)) == hours * 3600


def test_advance_waits_for_the_machine_to_run():
    sunday = paris(2026, 1, 18, 9)

    assert SHOP.advance(sunday, 3600) == paris(2026, 1, 19, 7)
    assert SHOP.advance(sunday, 0) == sunday
    assert SHOP.advance(paris(2026, 1, 17, 11), 3600) == paris(2026, 1, 17, 12)
    assert SHOP.advance(paris(2026, 1, 17, 11), 2 * 3600) == paris(2026, 1, 19, 7)


def test_bench_time_passes_only_while_somebody_is_there():
    friday = paris(2026, 1, 16, 21)

    assert SHOP.attended_seconds(friday, paris(2026, 1, 19, 7)) == 2 * 3600
    assert SHOP.running_seconds(friday, paris(2026, 1, 19, 7)) == (1 + 14 + 1) * 3600


def test_many_at_once_keep_their_shape_and_say_never():
    start = paris(2026, 1, 15, 6)

    ends = SHOP.advance_many(start, [[0.0, 60.0], [1e12, np.inf]])

    assert ends.shape == (2, 2)
    assert ends[0, 1] == np.datetime64("2026-01-15T05:01:00", "us")
    assert np.isnat(ends[1]).all()
    assert np.isnat(SHOP.advance_many(start, [np.nan]))[0]


def test_a_machine_without_spans_never_runs():
    never = WorkCalendar(())
    at = datetime(2026, 1, 1, tzinfo=UTC)

    assert never.advance(at, 1) is None
    assert never.advance(at, 0) == at
    assert never.stretches(at, at + timedelta(days=9)) == []
    assert never.running_seconds(at, at + timedelta(days=9)) == 0
    assert never.current_shift(at) is None
    assert never.next_unattended(at) is None


def test_without_a_calendar_the_machine_always_runs_and_is_attended():
    at = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)

    assert ALWAYS.advance(at, 86_400 * 365) == at + timedelta(days=365)
    assert ALWAYS.advance(at, 86_400 * 367) is None
    assert ALWAYS.next_unattended(at) is None
    (stretch,) = ALWAYS.stretches(at, at + timedelta(days=200))
    assert stretch == Stretch(at, at + timedelta(days=200), True)


def test_any_offset_means_the_same_instant():
    utc = datetime(2026, 1, 15, 12, tzinfo=UTC)
    elsewhere = utc.astimezone(timezone(timedelta(hours=-7)))

    assert SHOP.current_shift(utc) == SHOP.current_shift(elsewhere)


def test_a_naive_instant_is_refused():
    with pytest.raises(Invalid, match="without an offset"):
        SHOP.advance(datetime(2026, 1, 15, 12), 60)  # noqa: DTZ001 - the very mistake


def test_time_does_not_run_backwards():
    at = datetime(2026, 1, 15, 12, tzinfo=UTC)

    with pytest.raises(Invalid, match="negative"):
        SHOP.advance(at, -1)
    with pytest.raises(Invalid, match="before its start"):
        SHOP.stretches(at, at - timedelta(seconds=1))


def test_a_span_beyond_a_year_and_a_year_beyond_reason_are_refused():
    at = datetime(2026, 1, 15, 12, tzinfo=UTC)

    with pytest.raises(Invalid, match="366 days"):
        SHOP.stretches(at, at + timedelta(days=367))
    with pytest.raises(Invalid, match="year 9999"):
        SHOP.current_shift(datetime(9999, 12, 31, tzinfo=UTC))


def test_an_unknown_zone_is_refused():
    for name in ("Mars/Olympus", "../etc/passwd", ""):
        with pytest.raises(Invalid, match="not a time zone"):
            WorkCalendar((), name)


@pytest.mark.parametrize("text", ["24:01", "25:00", "6", "06:60", "", "６:00", "06:00:00"])
def test_a_time_of_day_that_is_none_is_refused(text):
    with pytest.raises(Invalid, match="not a time of day"):
        parse_clock(text)


def test_clock_times_survive_text():
    for minutes in range(1441):
        assert parse_clock(print_clock(minutes)) == minutes


def test_an_end_not_after_the_start_is_the_next_days():
    assert week_span("Sun", "22:00", "06:00", False) == WeekSpan(6, 1320, 1800, False)
    assert week_span("mon", "06:00", "06:00", True) == WeekSpan(0, 360, 1800, True)
    assert week_span("mon", "18:00", "24:00", True) == WeekSpan(0, 1080, 1440, True)


@pytest.mark.parametrize(
    "bad", [(7, 0, 60), (-1, 0, 60), (0, 1440, 1500), (0, -1, 60), (0, 60, 60), (0, 0, 10081)]
)
def test_a_span_that_cannot_be_is_refused(bad):
    with pytest.raises(Invalid):
        WeekSpan(*bad, True)


def test_an_unknown_weekday_and_a_start_at_midnights_end_are_refused():
    with pytest.raises(Invalid, match="not a weekday"):
        week_span("lundi", "06:00", "14:00", True)
    with pytest.raises(Invalid, match="start the next day"):
        week_span("mon", "24:00", "06:00", True)


def test_of_shifts_that_begin_together_the_attended_one_comes_next():
    calendar = WorkCalendar(
        spans_from_rows([("mon", "06:00", "20:00", False), ("mon", "06:00", "14:00", True)]),
        "Europe/Paris",
    )

    shift = calendar.current_shift(paris(2026, 1, 18, 9))

    assert shift == Stretch(paris(2026, 1, 19, 6), paris(2026, 1, 19, 14), True)


def test_a_described_calendar_is_the_same_in_any_order_and_open_all_day_without_windows():
    closed = [
        GivenClosure("2026-01-20", "2026-01-20", "closed"),
        GivenClosure("2026-01-19", "2026-01-19", "closed"),
    ]
    start, end = (datetime(2026, 1, day, tzinfo=UTC) for day in (18, 23))
    ways = [calendar_of(None, order).stretches(start, end) for order in (closed, closed[::-1])]

    assert ways[0] == ways[1]
    assert sum((one.end_at - one.start_at).days for one in ways[0]) == 3
    assert all(one.attended for one in ways[0])
