"""Whatever its swap point, an edge has its sister ready by the 10 % run-out."""

from datetime import timedelta

import pytest

from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import RUNS, TOOL_SPECS
from crib.store.records import get_record, update_record
from tests.store.test_forecast import Floor


@pytest.fixture
def floor(store, shop):
    """T01 with an edge whose failure costs as much as a swap."""
    floor = Floor(store, shop)
    change(store, TOOL_SPECS, shop.ids["tool_specs"]["TURN-OD"], failure_cost=1)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    floor.mount(floor.sister())
    floor.make(20)
    return floor


def change(store, record, number, **values):
    with store.write() as tx:
        version = get_record(tx, record, number)["version"]
        update_record(tx, record, number, values, version)


def turning(found):
    return [row for row in found.rows if row.forecast.station == "T01"]


def test_an_edge_that_is_run_until_it_fails_has_a_sister_in_time(floor):
    plan = floor.plan()
    found = make_swap_list(plan)
    forecast, first = plan.forecasts[0], turning(found)[0]

    assert (forecast.why, forecast.swap_by, forecast.swap_after_parts) == (
        "run_to_failure",
        None,
        None,
    )
    assert forecast.why_sentence.startswith("Run it until it fails")
    assert "sister ready by" in forecast.why_sentence
    assert (first.ordinal, first.standby, first.is_due(found.until)) == (0, True, False)
    assert first.needed_by == first.swap_by == forecast.run_out_at["p10"]
    assert first.sister.state == "build"
    assert first.bench.job.due_at == forecast.run_out_at["p10"]
    # those after it are needed too, each as much later as half of them last
    assert [row.ordinal for row in turning(found)][:3] == [0, 1, 2]
    assert all(row.standby for row in turning(found))


def test_no_edge_may_fail_within_the_horizon_without_a_row(floor, store, shop):
    for cost in (1, 600, 3_000, 12_000):
        change(store, TOOL_SPECS, shop.ids["tool_specs"]["TURN-OD"], failure_cost=cost)
        for quantity in (90, 180, 5_000):
            change(store, RUNS, floor.run, quantity=quantity)
            plan = floor.plan()
            forecast = plan.forecasts[0]
            found = turning(make_swap_list(plan))
            early = forecast.run_out_at["p10"]
            if early is None:
                assert not found or found[0].swap_by
                continue
            assert early < floor.now + timedelta(hours=24)
            assert found[0].ordinal == 0
            assert found[0].needed_by <= early
            assert "The planned runs end before" not in found[0].why_sentence
