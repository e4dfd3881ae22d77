"""The shop as the planner sees it: hours with their exceptions, and the learned share."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.outlook.shop_now import read_shop
from crib.outlook.swap_list import bench_calendar
from crib.records.catalogue import CALENDARS, CLOSURES, MACHINES
from crib.store.engine import Store
from crib.store.records import insert_record, retire_record

HOUR = 3_600.0
CLOSED = {
    "calendar": "weekdays",
    "start": "2026-01-06",
    "end": "2026-01-06",
    "kind": "closed",
    "reason": "Epiphany",
}


def view(store: Store, at: datetime):
    with store.read() as tx:
        return read_shop(tx, at)


def test_a_closure_takes_its_hours_out_of_the_time_ahead(store, shop):
    m1 = shop.ids["machines"]["M1"]
    before = view(store, shop.start)
    with store.write() as tx:
        number = insert_record(tx, CLOSURES, CLOSED)
    closed = view(store, shop.start)
    with store.write() as tx:
        retire_record(tx, CLOSURES, number, shop.start)
    again = view(store, shop.start)

    day = timedelta(days=1)
    lengths = [
        one.machines[m1].calendar.running_seconds(shop.start - day, shop.start + 5 * day) / HOUR
        for one in (before, closed, again)
    ]
    assert lengths[0] - lengths[1] == 24.0
    assert lengths[2] == lengths[0]
    ahead_s = [one.machines[m1].ahead.time.length_s for one in (before, closed)]
    assert ahead_s[0] - ahead_s[1] == 24 * HOUR
    # the bench follows the machines, so it is closed too
    bench = bench_calendar(closed)
    # from Tuesday 07:00 local to Wednesday 07:00: the hour from six on
    assert bench.attended_seconds(shop.start + day, shop.start + 2 * day) == HOUR


def test_a_calendar_that_only_says_when_it_is_closed_is_open_else(store, shop):
    with store.write() as tx:
        insert_record(tx, CALENDARS, {"calendar": "always", "time_zone": "Europe/Zurich"})
        insert_record(tx, CLOSURES, CLOSED | {"calendar": "always"})
        number = insert_record(tx, MACHINES, {"machine": "M9", "calendar": "always"})

    calendar = view(store, shop.start).machines[number].calendar

    first = datetime(2026, 1, 5, 23, tzinfo=UTC)  # midnight in Zurich
    assert calendar.running_seconds(first, first + timedelta(days=1)) == 0
    assert calendar.running_seconds(first, first + timedelta(days=2)) == 24 * HOUR


def test_a_machine_counts_as_silent_after_half_an_hour_of_open_time(store, shop):
    m1 = shop.ids["machines"]["M1"]
    told = shop.start + timedelta(minutes=1)
    with store.write() as tx:
        report_counts(tx, told, ReportCounts("M1", [CountReading(told, 5)]))
    limit = told + timedelta(minutes=30)

    in_time, late, later, last = (
        view(store, at).machines[m1]
        for at in (
            limit,
            limit + timedelta(seconds=1),
            told + timedelta(minutes=45),
            told + timedelta(hours=1),
        )
    )

    assert in_time.silent_since is None
    assert in_time.rest.untold == pytest.approx(40)  # 30 min at 45 s a part
    assert late.silent_since == told
    assert late.rest.untold == pytest.approx(40, abs=0.1)  # no jump as it turns silent
    assert later.rest.untold == pytest.approx(20)
    assert last.rest.untold == 0


def test_hours_in_which_a_machine_is_closed_are_no_silence(store, shop):
    m1 = shop.ids["machines"]["M1"]
    told = datetime(2026, 1, 10, 4, 50, tzinfo=UTC)  # ten minutes before Saturday's end
    with store.write() as tx:
        report_counts(tx, told, ReportCounts("M1", [CountReading(told, 5)]))

    monday = datetime(2026, 1, 12, 5, tzinfo=UTC)  # 06:00 in Zurich, when it opens again
    in_time, late = (view(store, monday + timedelta(minutes=past)) for past in (20, 21))

    assert (in_time.machines[m1].silent_since, late.machines[m1].silent_since) == (None, told)


def test_a_machine_that_stands_half_of_its_nights_plans_longer_nights(
    store: Store, shop: SimpleNamespace
):
    m1 = shop.ids["machines"]["M1"]
    at, count, readings = shop.start, 0, []
    cycle_s = 45.0
    while at < shop.start + timedelta(days=4):  # Monday to Thursday, attended 05:00-21:00 UTC
        at += timedelta(hours=1)
        share = 0.9 if 5 < at.hour <= 21 else 0.45
        count += round(share * HOUR / cycle_s)
        readings.append(CountReading(at, count))
    with store.write() as tx:
        told = report_counts(tx, at, ReportCounts("M1", readings))
    assert not told.refused

    seen = view(store, at)

    share = seen.machines[m1].share
    assert share.separate
    assert share.attended == pytest.approx(0.9, abs=0.05)
    assert share.unattended == pytest.approx(0.45, abs=0.1)
    time = seen.machines[m1].ahead.time
    evening = datetime(2026, 1, 9, 21, tzinfo=UTC)
    begins, ends = (
        time.seconds_at(int(one.timestamp() * 1e6))
        for one in (evening, evening + timedelta(hours=8))
    )
    later = view(store, at + timedelta(minutes=24))  # on Friday morning
    assert later.machines[m1].rest.untold == pytest.approx(24 * 60 * share.attended / cycle_s)
    # 8 hours at night cut as many parts as this share of them, at the cycle on record
    assert (ends - begins) * share.both / (8 * HOUR) == pytest.approx(share.unattended)
