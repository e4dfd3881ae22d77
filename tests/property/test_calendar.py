"""Running time is conserved: cut, added up, walked through and back."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.floor.calendar import Closure, WeekSpan, WorkCalendar
from crib.floor.parts_clock import PartsClock

ZONES = ("UTC", "Europe/Paris", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kolkata")

spans = st.builds(
    lambda day, start, length, attended: WeekSpan(day, start, start + length, attended),
    st.integers(0, 6),
    st.integers(0, 1439),
    st.integers(1, 2000),
    st.booleans(),
)
#: Closed times and extra shifts of up to two days, many of them around a clock change.
closures = st.builds(
    lambda at, length, opens, attended: Closure(
        at, at + timedelta(minutes=length), opens, opens and attended
    ),
    st.integers(-3_000, 3 * 366 * 1440).map(
        lambda minutes: (
            datetime(2025, 1, 1) + timedelta(minutes=minutes)  # noqa: DTZ001 - wall time
            if minutes >= 0
            else datetime(2026, 3, 30) + timedelta(minutes=minutes)  # noqa: DTZ001
        )
    ),
    st.integers(1, 2 * 1440),
    st.booleans(),
    st.booleans(),
)
calendars = st.builds(
    WorkCalendar,
    st.lists(spans, min_size=1, max_size=10).map(tuple),
    st.sampled_from(ZONES),
    st.lists(closures, max_size=8).map(tuple),
)
instants = st.integers(0, 3 * 366 * 86_400).map(
    lambda seconds: datetime(2025, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
)


def minute_by_minute(calendar, start, end):
    """Running and attended minutes by asking the wall clock at every minute."""
    zone = ZoneInfo(calendar.zone)
    running = attended = 0
    at = start
    while at < end:
        here = {
            span.attended
            for span in calendar.spans
            for back in range(9)
            if _covers(span, at, zone, back)
        }
        said = [one for one in calendar.closures if _holds(one, at, zone)]
        if any(not one.opens for one in said):
            here = set()
        here |= {one.attended for one in said if one.opens}
        running += bool(here)
        attended += True in here
        at += timedelta(minutes=1)
    return running, attended


def _holds(closure, at, zone):
    start, end = (
        wall.replace(tzinfo=zone).astimezone(UTC) for wall in (closure.start, closure.end)
    )
    return start <= at < end


def _covers(span, at, zone, back):
    day = at.astimezone(zone).date() - timedelta(days=back)
    if day.weekday() != span.weekday:
        return False
    midnight = datetime.combine(day, datetime.min.time())
    start, end = (
        (midnight + timedelta(minutes=minutes)).replace(tzinfo=zone).astimezone(UTC)
        for minutes in (span.start_min, span.end_min)
    )
    return start <= at < end


@settings(max_examples=25, deadline=None)
@given(calendars, instants, st.integers(1, 200))
def test_running_time_is_what_the_wall_clock_says_minute_by_minute(calendar, start, minutes):
    start = start.replace(second=0)
    # Near a clock change as often as not.
    change = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)
    for begin in (start, change):
        end = begin + timedelta(minutes=minutes)

        running, attended = minute_by_minute(calendar, begin, end)

        assert calendar.running_seconds(begin, end) == running * 60
        assert calendar.attended_seconds(begin, end) == attended * 60


@settings(max_examples=60, deadline=None)
@given(calendars, instants, st.integers(0, 40 * 86_400), st.integers(0, 40 * 86_400))
def test_time_spans_add_up(calendar, start, first, second):
    middle = start + timedelta(seconds=first)
    end = middle + timedelta(seconds=second)

    whole = calendar.running_seconds(start, end)
    stretches = calendar.stretches(start, end)

    assert whole == pytest.approx(
        calendar.running_seconds(start, middle) + calendar.running_seconds(middle, end)
    )
    lengths_s = [(stretch.end_at - stretch.start_at).total_seconds() for stretch in stretches]
    assert whole == pytest.approx(sum(lengths_s))
    for left, right in pairwise(stretches):
        assert left.end_at < right.start_at or left.attended != right.attended
        assert left.end_at <= right.start_at


@settings(max_examples=60, deadline=None)
@given(calendars, instants, st.lists(st.floats(0, 3e5), min_size=1, max_size=20))
def test_walking_forward_uses_exactly_the_running_time(calendar, start, seconds):
    ends = calendar.advance_many(start, seconds)

    for wanted, end in zip(seconds, ends, strict=True):
        one = calendar.advance(start, wanted)
        if np.isnat(end):
            assert one is None
            assert calendar.running_seconds(start, start + timedelta(days=366)) < wanted
            continue
        assert one is not None
        assert one.replace(tzinfo=None) == end.astype(object)
        assert calendar.running_seconds(start, one) == pytest.approx(wanted, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(calendars, instants)
def test_the_next_unattended_stretch_is_unattended_and_whole(calendar, at):
    stretch = calendar.next_unattended(at)

    if stretch is None:
        year = calendar.stretches(at, at + timedelta(days=366))
        assert all(piece.attended for piece in year)
        return
    assert stretch.end_at > at
    assert calendar.attended_seconds(stretch.start_at, stretch.end_at) == 0
    length = (stretch.end_at - stretch.start_at).total_seconds()
    assert calendar.running_seconds(stretch.start_at, stretch.end_at) == length
    if stretch.start_at > at:
        before = calendar.stretches(at, stretch.start_at)
        assert all(piece.attended for piece in before)
    edge = timedelta(microseconds=1)
    beyond = calendar.stretches(stretch.end_at, stretch.end_at + edge)
    assert all(piece.attended for piece in beyond)


@settings(max_examples=80, deadline=None)
@given(
    calendars,
    instants,
    st.floats(0.001, 1e5),
    st.tuples(st.floats(0, 1.3), st.floats(0, 1.3)),
    st.lists(st.integers(1, 10_000), min_size=1, max_size=10),
)
def test_parts_to_clock_time_and_back_are_the_same_parts(calendar, at, cycle_s, shares, parts):
    clock = PartsClock(calendar.stretches(at, at + timedelta(days=40)), cycle_s, *shares)
    tick = timedelta(microseconds=1)

    for number in (*parts, clock.parts, clock.parts + 1):
        if number == 0:
            continue
        end_at = clock.finish(number)
        if end_at is None:
            assert clock.parts < number
            continue
        assert clock.parts_by(end_at) == number
        assert clock.parts_by(end_at - tick) == number - 1
        assert sum(row.parts for row in clock.worked(end_at)) == number
        assert calendar.running_seconds(end_at - tick, end_at) > 0
