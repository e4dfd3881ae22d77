"""What a machine's page names where nothing is due in the next day."""

from datetime import timedelta

import pytest

from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.outlook.swap_list import make_swap_list
from crib.views.machine_view import machine_now
from tests.store.test_forecast import Floor


@pytest.fixture
def floor(store, shop):
    floor = Floor(store, shop)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    return floor


def here(floor):
    plan = floor.plan()
    with floor.store.read() as tx:
        return plan, machine_now(tx, plan, "M1")


def begin_in(floor, hours):
    with floor.store.write() as tx:
        begins = int((floor.now + timedelta(hours=hours)).timestamp() * 1_000_000)
        tx.exec_driver_sql("UPDATE runs SET state = 'planned', start_at = ?", (begins,))


def test_the_first_swap_after_the_next_day_is_named_with_its_sister(floor):
    begin_in(floor, 40)
    waiting = floor.sister()

    plan, machine = here(floor)

    rows = make_swap_list(plan, 72, "M1").rows
    row = min(rows, key=lambda one: one.swap_by)
    assert machine.due == ()
    assert machine.later is not None
    assert machine.later.swap == row
    assert waiting in {one.sister.assembly for one in rows}
    assert machine.later.sister == row.sister
    assert machine.later.row.station == row.forecast.station


@pytest.mark.parametrize("hours", [0, 200])
def test_none_is_named_where_one_is_due_or_none_within_three_days(floor, hours):
    begin_in(floor, hours)

    _, machine = here(floor)

    assert bool(machine.due) is (hours == 0)
    assert machine.later is None
