"""Instants: read with their offset, kept in UTC, refused in the future."""

from datetime import UTC, datetime, timedelta

import pytest

from crib.clock import CLOCK_TOLERANCE, now, parse_instant, print_instant, refuse_future
from crib.errors import Invalid

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-04T12:00:00Z",
        "2026-05-04t14:00:00+02:00",
        "2026-05-04 06:30-05:30",
        " 2026-05-04T12:00:00.000000z ",
    ],
)
def test_an_instant_is_read_with_its_offset(text):
    assert parse_instant(text) == NOON
    assert parse_instant(text).tzinfo == UTC


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-04T12:00:00",
        "2026-05-04",
        "2026-13-04T12:00:00Z",
        "2026-02-29T12:00:00Z",
        "2026-05-04T25:00:00Z",
        "2026-05-04T12:00:00+01:75",
        "2026-05-04T12:00:00+24:00",
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-14:00",
        "now",
        "",
        "1746360000",
        "２026-05-04T12:00:00Z",
    ],
)
def test_text_that_is_no_instant_is_refused(text):
    with pytest.raises(Invalid, match="is not an instant"):
        parse_instant(text)


def test_printing_and_reading_are_inverse():
    for at in (NOON, NOON + timedelta(microseconds=1), NOON - timedelta(days=9999)):
        assert parse_instant(print_instant(at)) == at


def test_a_clock_that_runs_a_little_fast_is_taken_more_is_refused():
    refuse_future(NOON + CLOCK_TOLERANCE, NOON)

    with pytest.raises(Invalid, match="lies in the future") as caught:
        refuse_future(NOON + CLOCK_TOLERANCE + timedelta(seconds=1), NOON, what="readings.3.at")
    assert caught.value.errors[0]["field"] == "readings.3.at"


def test_the_present_is_aware_and_in_utc():
    assert now().utcoffset() == timedelta(0)
