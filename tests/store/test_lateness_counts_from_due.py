"""A swap that is due already is late from when it was due, and only grows later."""

from datetime import timedelta

import pytest

from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.acts.signal_breakage import SignalBreakage, signal_breakage
from crib.outlook.out_now import BROKEN, WRONG_TOOL
from crib.outlook.swap_list import make_swap_list
from crib.outlook.vacancies import EMPTY
from tests.store.test_forecast import Floor

HOUR = timedelta(hours=1)


@pytest.fixture
def floor(store, shop):
    floor = Floor(store, shop)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    floor.mount(floor.sister())
    return floor


def overdue(floor):
    floor.make(400)
    forecast = next(one for one in floor.plan().forecasts if one.station == "T01")
    return "past", forecast.overdue_since


def broke(floor):
    floor.make(60)
    floor.act(signal_breakage, SignalBreakage("load", station="M1/T01"))
    return BROKEN, floor.now


def emptied(floor):
    floor.make(60)
    floor.remove("chipped")
    return EMPTY, floor.now


def unfit(floor):
    mounted = floor.now
    floor.make(60)
    with floor.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE operations SET tool_spec_id ="
            " (SELECT id FROM tool_specs WHERE tool_spec = 'CROSS-3')"
        )
    return WRONG_TOOL, mounted


@pytest.mark.parametrize("happens", [overdue, broke, emptied, unfit])
def test_what_is_due_is_late_from_then_on_and_never_less_so_while_nothing_is_done(
    floor, happens
):
    why, since = happens(floor)

    lateness = []
    for hours in (0.5, 2, 6, 12, 15, 18, 23):  # through the night, when the bench is closed
        plan = floor.plan(floor.now + hours * HOUR)
        found = make_swap_list(plan)
        row = next(
            row for row in found.rows if row.forecast.station == "T01" and not row.ordinal
        )
        assert row.why == why
        told = row.bench.lateness_minutes
        assert told == pytest.approx((row.bench.finish_at - since) / timedelta(minutes=1))
        assert row.bench.finish_at >= plan.shop.now
        lateness.append(told)

    assert lateness == sorted(lateness)
    assert lateness[0] >= 30
