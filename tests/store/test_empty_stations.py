"""A station without a tool that a run needs one in stands first on every list."""

from datetime import timedelta

import pytest

from api.text_lists import swap_lines
from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.acts.signal_breakage import SignalBreakage, signal_breakage
from crib.outlook.out_now import WRONG_TOOL
from crib.outlook.swap_list import make_swap_list
from crib.outlook.vacancies import EMPTY
from crib.records.catalogue import RUNS
from crib.store.records import get_record, insert_record, update_record
from crib.views.holder_needs import holder_needs
from crib.views.planned_stops import planned_stops
from crib.views.shift_view import shift_view
from tests.store.test_forecast import CYCLE, DRILLING, Floor  # noqa: F401


@pytest.fixture
def floor(store, shop):
    floor = Floor(store, shop)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    return floor


def places(rows):
    return [f"{row.forecast.machine}/{row.forecast.station}" for row in rows]


def test_a_shop_with_nothing_mounted_sees_its_first_days_work(floor):
    found = make_swap_list(floor.plan())

    first = [row for row in found.rows if row.ordinal == 0]
    assert places(first) == ["M1/T01", "M1/T11"]  # the two that PIN-8 cuts with
    assert {row.why for row in first} == {EMPTY}
    assert all(row.swap_by == floor.now and row.takes_out is None for row in first)
    assert [row.sister.state for row in first] == ["build", "build"]
    assert places(found.queue_rows)[:2] == ["M1/T01", "M1/T11"]
    # and the swaps of the same day that follow, by the life that a new edge has
    assert [row.ordinal for row in found.rows if row.forecast.station == "T01"][:3] == [0, 1, 2]


def test_the_night_reckons_with_the_tools_that_are_still_to_be_mounted(floor):
    night = next(one for one in floor.plan().nights if one.machine == "M1")

    assert night.as_planned > 0


def test_a_station_emptied_under_a_job_stands_before_all_else(floor):
    drill, turner = floor.sister("CROSS-3", "DH-1", "LOT-D1"), floor.sister()
    floor.mount(drill, "M1/T11")
    floor.mount(turner)
    floor.make(400)  # the turning edge is long overdue
    floor.remove("chipped", "M1/T11")
    waiting = floor.sister("CROSS-3", "DH-2", "LOT-D1")

    plan = floor.plan()
    found = make_swap_list(plan)

    assert places(found.rows)[:2] == ["M1/T11", "M1/T01"]
    assert found.rows[0].sister.assembly == waiting
    assert "PIN-8" in found.rows[0].why_sentence
    assert shift_view(plan, 24).swaps[0] is found.rows[0]
    assert "empty" in next(swap_lines(found, floor.now.tzinfo))
    lines = {m.machine: m.lines for m in shift_view(plan, 24).machines}["M1"]
    assert any(line.forecast.why == EMPTY and line.swaps for line in lines)

    floor.mount(waiting, "M1/T11")
    assert EMPTY not in {row.why for row in make_swap_list(floor.plan()).rows}


def test_a_sister_goes_to_the_empty_station_before_it_goes_to_an_overdue_edge(
    floor, store, shop
):
    with store.write() as tx:
        number = insert_record(
            tx,
            RUNS,
            {"machine": "M2", "part": "PIN-8", "quantity": 900, "state": "running",
             "start_at": floor.now},
        )  # fmt: skip
    assert number
    floor.mount(floor.sister())
    floor.make(400)
    waiting = floor.sister("TURN-OD", "TH-2")

    rows = {
        f"{row.forecast.machine}/{row.forecast.station}": row
        for row in make_swap_list(floor.plan()).rows
        if row.ordinal == 0
    }

    assert rows["M2/T01"].sister.assembly == waiting
    assert rows["M1/T01"].sister.assembly is None


def test_a_run_ahead_asks_for_its_tools_by_its_start(floor, store):
    starts = floor.now + timedelta(hours=5)
    with store.write() as tx:
        insert_record(
            tx, RUNS, {"machine": "M2", "part": "PIN-8", "quantity": 900, "start_at": starts}
        )

    rows = [row for row in make_swap_list(floor.plan()).rows if row.forecast.machine == "M2"]
    needed = [row for row in rows if row.why == EMPTY]

    assert [row.forecast.station for row in needed] == ["T01", "T11"]
    assert all(abs(row.swap_by - starts) < timedelta(seconds=1) for row in needed)
    assert places(make_swap_list(floor.plan()).rows)[:2] == ["M1/T01", "M1/T11"]
    assert holder_needs(floor.plan(), 24).rows


def test_a_job_that_is_made_needs_no_tool_any_more(floor, store):
    with store.write() as tx:
        version = get_record(tx, RUNS, floor.run)["version"]
        update_record(tx, RUNS, floor.run, {"quantity": 100}, version)
    floor.make(90)
    assert EMPTY in {row.why for row in make_swap_list(floor.plan(floor.now + 40 * CYCLE)).rows}
    floor.make(10)

    assert EMPTY not in {row.why for row in make_swap_list(floor.plan()).rows}


def test_a_tool_number_that_no_station_has_is_told_beside_the_lists(floor, store):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE operations SET tool_number = 9 WHERE tool_number = 11")

    plan = floor.plan()
    found = make_swap_list(plan)

    assert places(found.rows)[:1] == ["M1/T01"]
    assert "M1/T11" not in places(found.rows)
    (told,) = plan.shop.to_put_right
    assert (told.what, told.machine) == ("no_station", "M1")
    assert told.sentence.startswith("Machine M1 has no station with tool number 9 on path 1")
    assert shift_view(plan, 24).left_out == ()  # every figure was worked out
    assert plan.shop.problems == (told.sentence,)


def test_an_edge_that_broke_while_nobody_is_there_is_due_now_on_every_list(floor):
    floor.mount(floor.sister())
    floor.make(60)
    night = floor.now.replace(hour=23, minute=30)
    floor.act(report_counts, ReportCounts("M1", [CountReading(night, 100)]))
    floor.now = night
    floor.act(signal_breakage, SignalBreakage("load", station="M1/T01"))

    plan = floor.plan()
    row = next(
        row for row in make_swap_list(plan).rows if row.takes_out and row.why == "broken"
    )

    assert row.swap_by == row.needed_by == plan.shop.now
    assert row.forecast.swap_by == row.swap_by
    told = [one for one in planned_stops(plan, 24).rows if one.at == row.swap_by]
    assert [one.swaps for one in told if "T01" in one.swaps] == [("T01", "T11")]


def test_a_tool_that_what_runs_cannot_use_there_comes_out_for_the_one_it_needs(floor, store):
    floor.mount(floor.sister())
    floor.make(60)
    waiting = [floor.sister("CROSS-3", holder, "LOT-D1") for holder in ("DH-1", "DH-2")]
    with store.write() as tx:  # the next job wants the drill in T01, where the turning tool is
        tx.exec_driver_sql(
            "UPDATE operations SET tool_spec_id ="
            " (SELECT id FROM tool_specs WHERE tool_spec = 'CROSS-3')"
        )

    plan = floor.plan()
    rows = [row for row in make_swap_list(plan).rows if row.forecast.station == "T01"]

    (row,) = rows
    assert row.why == WRONG_TOOL
    assert row.is_due(floor.now)
    assert row.takes_out == row.forecast.assembly
    assert row.sister.assembly in waiting
    assert "PIN-8 runs and needs CROSS-3 here" in row.why_sentence
    assert places(make_swap_list(plan).rows)[:2] == ["M1/T01", "M1/T11"]
    told = [one for one in planned_stops(plan, 24).rows if one.at == row.swap_by]
    assert [one.swaps for one in told] == [("T01", "T11")]


def test_a_broken_tool_that_what_runs_cannot_use_is_not_replaced_by_its_like(floor, store):
    floor.mount(floor.sister())
    floor.make(60)
    floor.act(signal_breakage, SignalBreakage("load", station="M1/T01"))
    with store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE operations SET tool_spec_id ="
            " (SELECT id FROM tool_specs WHERE tool_spec = 'CROSS-3')"
        )
    waiting = [floor.sister("CROSS-3", holder, "LOT-D1") for holder in ("DH-1", "DH-2")]

    rows = [row for row in make_swap_list(floor.plan()).rows if row.forecast.station == "T01"]

    (row,) = rows
    assert row.why == "broken"
    assert row.sister.assembly in waiting
    assert row.why_sentence.endswith("PIN-8 runs and needs CROSS-3 here.")


@pytest.mark.parametrize("hours", [5, 30])
def test_a_tool_left_from_the_job_before_gives_way_to_that_of_the_next_by_its_start(
    floor, store, hours
):
    floor.mount(floor.sister())
    floor.make(60)
    waiting = [floor.sister("CROSS-3", holder, "LOT-D1") for holder in ("DH-1", "DH-2")]
    floor.sister("TURN-OD", "TH-2")  # its like waits too, and a mount would be refused
    starts = floor.now + timedelta(hours=hours)
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done'")
        tx.exec_driver_sql(
            "UPDATE operations SET tool_spec_id ="
            " (SELECT id FROM tool_specs WHERE tool_spec = 'CROSS-3')"
        )
        insert_record(
            tx, RUNS, {"machine": "M1", "part": "PIN-8", "quantity": 900, "start_at": starts}
        )

    plan = floor.plan()
    (forecast,) = plan.forecasts
    soon, far = (
        [row for row in make_swap_list(plan, ahead).rows if row.forecast.station == "T01"]
        for ahead in (24, 36)
    )

    (row,) = far
    assert len(soon) == (hours < 24)
    assert abs(row.swap_by - forecast.swap_by) < timedelta(seconds=1)
    assert row.swap_by >= starts - timedelta(seconds=1)
    assert not row.is_due(floor.now)
    assert row.why == WRONG_TOOL
    assert (row.tool_spec, row.takes_out) == ("CROSS-3", forecast.assembly)
    assert row.sister.assembly in waiting
    assert "PIN-8 comes next and needs CROSS-3 here" in row.why_sentence
    told = [one for one in planned_stops(plan, 36).rows if "T01" in one.swaps]
    assert [one.at for one in told] == [row.swap_by]
