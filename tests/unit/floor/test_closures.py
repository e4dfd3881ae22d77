"""Holidays, closures and extra shifts as a calendar keeps them."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import Invalid
from crib.floor.calendar import (
    ALWAYS,
    WEEKDAYS,
    Stretch,
    WorkCalendar,
    attended_together,
    spans_from_rows,
)
from crib.floor.closures import Closure, closure_from_texts, local_end, local_start, parse_local

PARIS = ZoneInfo("Europe/Paris")
WEEK = spans_from_rows(
    [(day, "06:00", "22:00", True) for day in WEEKDAYS[:5]]
    + [(day, "22:00", "06:00", False) for day in WEEKDAYS[:5]]
)


def shop(*rows, spans=WEEK, zone="Europe/Paris"):
    return WorkCalendar(spans, zone, tuple(closure_from_texts(*row) for row in rows))


def paris(*args):
    return datetime(*args, tzinfo=PARIS)


def test_a_holiday_takes_the_day_and_the_night_before_it_ends_at_midnight():
    holiday = shop(("2026-05-01", "2026-05-01", "closed", None, "first of May"))

    stretches = holiday.stretches(paris(2026, 4, 30, 20), paris(2026, 5, 4, 8))

    # the night of that Friday would have begun inside the holiday and runs on after it
    assert stretches == [
        Stretch(paris(2026, 4, 30, 20), paris(2026, 4, 30, 22), True),
        Stretch(paris(2026, 4, 30, 22), paris(2026, 5, 1, 0), False),
        Stretch(paris(2026, 5, 2, 0), paris(2026, 5, 2, 6), False),
        Stretch(paris(2026, 5, 4, 6), paris(2026, 5, 4, 8), True),
    ]


def test_a_closure_inside_a_shift_leaves_both_ends_of_it():
    meeting = shop(("2026-01-14T10:00", "2026-01-14T11:30", "closed", None))

    stretches = meeting.stretches(paris(2026, 1, 14, 6), paris(2026, 1, 14, 22))

    assert [(s.start_at, s.end_at) for s in stretches] == [
        (paris(2026, 1, 14, 6), paris(2026, 1, 14, 10)),
        (paris(2026, 1, 14, 11, 30), paris(2026, 1, 14, 22)),
    ]
    assert meeting.advance(paris(2026, 1, 14, 9), 7_200) == paris(2026, 1, 14, 12, 30)
    assert meeting.current_shift(paris(2026, 1, 14, 10, 30)) == Stretch(
        paris(2026, 1, 14, 11, 30), paris(2026, 1, 14, 22), True
    )


def test_an_extra_shift_is_open_even_inside_a_closed_week():
    rows = [
        ("2026-12-24", "2027-01-03", "closed", None, "works holiday"),
        ("2026-12-29T07:00", "2026-12-29T12:00", "open", True, "urgent job"),
        ("2026-12-29T12:00", "2026-12-29T15:00", "open", False),
    ]

    stretches = shop(*rows).stretches(paris(2026, 12, 24), paris(2027, 1, 4))

    assert stretches == [
        Stretch(paris(2026, 12, 29, 7), paris(2026, 12, 29, 12), True),
        Stretch(paris(2026, 12, 29, 12), paris(2026, 12, 29, 15), False),
    ]


def test_an_extra_shift_on_a_sunday_stands_beside_the_week():
    extra = shop(("2026-01-18T08:00", "2026-01-18T12:00", "open", True))

    assert extra.current_shift(paris(2026, 1, 18, 7)) == Stretch(
        paris(2026, 1, 18, 8), paris(2026, 1, 18, 12), True
    )
    assert extra.attended_seconds(paris(2026, 1, 18), paris(2026, 1, 19)) == 4 * 3600


def test_an_extra_shift_can_put_somebody_beside_an_unattended_night():
    watched = shop(("2026-01-14T22:00", "2026-01-15T00:00", "open", True))

    night = watched.next_unattended(paris(2026, 1, 14, 12))

    assert night == Stretch(paris(2026, 1, 15, 0), paris(2026, 1, 15, 6), False)


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-10-25", 25)])
def test_a_whole_closed_day_has_the_length_that_the_clocks_give_it(day, hours):
    zoned = WorkCalendar(
        ALWAYS.spans, "Europe/Paris", (closure_from_texts(day, day, "closed", None),)
    )
    begin = local_start(day).replace(tzinfo=PARIS) - timedelta(days=1)

    open_s = zoned.running_seconds(begin, begin.astimezone(UTC) + timedelta(days=4))

    assert open_s == (96 - hours) * 3600


def test_wall_times_that_the_clocks_skip_or_repeat_are_read_by_one_rule():
    skipped = shop(("2026-03-29T02:30", "2026-03-29T04:00", "closed", None), spans=ALWAYS.spans)
    nothing = shop(("2026-03-29T02:30", "2026-03-29T03:15", "closed", None), spans=ALWAYS.spans)
    twice = shop(("2026-10-25T01:00", "2026-10-25T02:30", "closed", None), spans=ALWAYS.spans)

    (spring,) = skipped.exceptions(paris(2026, 3, 28), paris(2026, 3, 30))
    (autumn,) = twice.exceptions(paris(2026, 10, 24), paris(2026, 10, 26))

    # 02:30 does not exist and becomes 03:30 summer time, 01:30 UTC
    assert spring.start_at == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
    assert spring.end_at == datetime(2026, 3, 29, 2, 0, tzinfo=UTC)
    assert nothing.exceptions(paris(2026, 3, 28), paris(2026, 3, 30)) == []
    # 02:30 comes twice, at 00:30 and 01:30 UTC: the first is meant
    assert autumn.end_at == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


def test_closures_that_overlap_are_one_time():
    rows = [
        ("2026-01-14", "2026-01-15", "closed", None),
        ("2026-01-14T12:00", "2026-01-14T13:00", "closed", None),
        ("2026-01-15T10:00", "2026-01-16T10:00", "closed", None),
    ]

    stretches = shop(*rows).stretches(paris(2026, 1, 13, 22), paris(2026, 1, 16, 12))

    assert [(s.start_at, s.end_at) for s in stretches] == [
        (paris(2026, 1, 13, 22), paris(2026, 1, 14, 0)),
        (paris(2026, 1, 16, 10), paris(2026, 1, 16, 12)),
    ]


def test_exceptions_are_told_whole_with_their_reason():
    holiday = shop(("2026-12-24", "2026-12-26", "closed", None, "midwinter"))

    (told,) = holiday.exceptions(paris(2026, 12, 25), paris(2026, 12, 25, 1))

    assert (told.start_at, told.end_at) == (paris(2026, 12, 24), paris(2026, 12, 27))
    assert (told.opens, told.attended, told.reason) == (False, False, "midwinter")
    assert holiday.exceptions(paris(2026, 12, 27), paris(2026, 12, 28)) == []


def test_somebody_is_there_when_any_calendar_has_somebody_there_holidays_counted():
    closed_monday = shop(("2026-01-19", "2026-01-19", "closed", None))
    weekend = WorkCalendar(spans_from_rows([("sat", "06:00", "10:00", True)]), "Europe/Paris")

    both = attended_together([closed_monday, weekend])

    assert both.running_seconds(paris(2026, 1, 16, 22), paris(2026, 1, 20, 6)) == 4 * 3600
    assert attended_together([]).running_seconds(paris(2026, 1, 1), paris(2026, 2, 1)) == 0


@pytest.mark.parametrize(
    ("text", "because"),
    [
        ("24.12.2026", "not a day or a local time"),
        ("2026-12-24T14:00+01:00", "without an offset"),
        ("2026-12-24T14:00Z", "without an offset"),
        ("2026-02-30", "not a day"),
        ("2026-12-24T24:01", "time of day"),
        ("2026-12-24T12:60", "time of day"),
        ("2026-12-24T14", "not a day or a local time"),
        ("0026-12-24", "the year is 26"),
        ("2900-12-24", "the year is 2900"),
        ("２026-12-24", "not a day or a local time"),
        ("", "not a day or a local time"),
    ],
)
def test_what_is_no_local_time_is_refused(text, because):
    with pytest.raises(Invalid, match=because):
        parse_local(text)


def test_a_closure_that_ends_before_it_starts_names_the_end():
    for start, end in (("2026-12-24", "2026-12-23"), ("2026-12-24T06:00", "2026-12-24T06:00")):
        with pytest.raises(Invalid) as refused:
            closure_from_texts(start, end, "closed", None)
        assert refused.value.errors == [{"field": "end", "detail": "does not lie after start"}]


@given(st.dates(date(1970, 1, 1), date(2200, 12, 30)), st.integers(0, 1440) | st.none())
def test_local_times_survive_their_text(day, minutes):
    text = str(day) if minutes is None else f"{day}T{minutes // 60:02d}:{minutes % 60:02d}"

    canonical = parse_local(text)

    midnight = datetime.combine(day, datetime.min.time())
    assert parse_local(canonical) == canonical
    assert local_start(canonical) == midnight + timedelta(minutes=minutes or 0)
    if minutes is None:
        whole = Closure(local_start(canonical), local_end(canonical))
        assert whole.end - whole.start == timedelta(days=1)
