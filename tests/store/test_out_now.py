"""A tool that comes out for nothing, or for another kind: every list says which."""

from datetime import timedelta

import pytest

from api.text_lists import swap_lines
from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.acts.signal_breakage import SignalBreakage, signal_breakage
from crib.errors import DoesNotFit
from crib.floor.timeline import us_of
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import PARTS, RUNS
from crib.store.records import insert_record
from crib.views.bench_card import bench_cards
from crib.views.holder_needs import holder_needs
from crib.views.kit_for_run import kit_for_run
from crib.views.planned_stops import planned_stops
from crib.views.reorder_items import reorder_items
from crib.views.shift_view import shift_view
from tests.store.test_forecast import Floor

TO_DRILLS = (
    "UPDATE operations SET tool_spec_id ="
    " (SELECT id FROM tool_specs WHERE tool_spec = 'CROSS-3')"
)
NOT_T01 = "DELETE FROM operations WHERE tool_number = 1"


@pytest.fixture
def floor(store, shop):
    floor = Floor(store, shop)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    return floor


def broken_in(floor, *changes):
    """A turning tool broke in M1/T01; then the program, or the runs, change."""
    floor.mount(floor.sister())
    floor.make(60)
    floor.act(signal_breakage, SignalBreakage("load", station="M1/T01"))
    with floor.store.write() as tx:
        for change in changes:
            tx.exec_driver_sql(change)
    return floor.sister(holder="TH-2")


def rows_of(plan, station="T01"):
    return [row for row in make_swap_list(plan).rows if row.forecast.station == station]


def test_a_broken_tool_that_nothing_uses_comes_out_and_no_sister_is_named(floor):
    waiting = broken_in(floor, NOT_T01)

    plan = floor.plan()
    (row,) = rows_of(plan)

    assert row.why == "broken"
    assert row.is_due(floor.now)
    assert row.takes_out
    assert (row.sister.state, row.sister.assembly, row.bench) == ("not_needed", None, None)
    assert not row.late
    assert row.why_sentence.endswith("PIN-8 runs and needs no tool here: mount none.")
    assert "swap the edge" not in row.why_sentence

    # neither the bench nor the stock is asked for anything, and the mount would be refused
    assert "T01" not in {one.forecast.station for one in make_swap_list(plan).queue_rows}
    assert {need.holder_type: need.swaps for need in holder_needs(plan, 24).rows}[
        "SQ12-CN"
    ] == 0
    used_up = {one.cutting_item: one.runs_out_at for one in reorder_items(plan)}
    assert used_up["CNMG-408"] is None
    assert used_up["DRILL-3"] is not None
    assert any("T01" in one.swaps for one in planned_stops(plan, 24).rows)
    assert row in shift_view(plan, 24).swaps
    assert row not in shift_view(plan, 24).blocked
    told = next(line for line in swap_lines(make_swap_list(plan), floor.now.tzinfo)
                if "M1/T01" in line)  # fmt: skip
    assert "not_needed" not in told
    assert "no sister needed" in told
    floor.remove("broken")
    with pytest.raises(DoesNotFit):
        floor.mount(waiting)
    assert not rows_of(floor.plan())


def end_all_runs(floor):
    with floor.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE runs SET state = 'done', end_at = ? WHERE state != 'done'",
            (us_of(floor.now),),
        )


def test_a_broken_tool_in_a_machine_without_a_job_comes_out_and_no_sister_is_named(floor):
    broken_in(floor)
    end_all_runs(floor)

    (row,) = rows_of(floor.plan())

    assert row.why == "broken"
    assert (row.sister.state, row.sister.assembly, row.bench) == ("not_needed", None, None)
    assert row.why_sentence.endswith("No job is known here: mount none.")
    assert "swap the edge" not in row.why_sentence
    assert "T01" not in {
        one.forecast.station for one in make_swap_list(floor.plan()).queue_rows
    }


def test_a_machine_that_makes_parts_of_no_job_gets_a_sister_for_its_broken_tool(floor):
    waiting = broken_in(floor)
    end_all_runs(floor)
    floor.make(20)

    (row,) = rows_of(floor.plan())

    assert row.why == "broken"
    assert (row.sister.state, row.sister.assembly) == ("ready", waiting)


def test_a_broken_tool_before_a_job_of_another_kind_names_what_that_job_needs(floor):
    broken_in(floor, TO_DRILLS, "UPDATE runs SET state = 'planned', start_at = NULL")
    waiting = [floor.sister("CROSS-3", holder, "LOT-D1") for holder in ("DH-1", "DH-2")]

    plan = floor.plan()
    (row,) = rows_of(plan)

    assert row.why == "broken"
    assert row.tool_spec == "CROSS-3"
    assert row.why_sentence.endswith("PIN-8 comes next and needs CROSS-3 here.")
    assert row.sister.assembly in waiting
    floor.remove("broken")
    with floor.store.write() as tx:  # the drill would go into a station for turning tools
        tx.exec_driver_sql("UPDATE stations SET interface = NULL, kind = NULL, axis_x = NULL")
    assert floor.mount(row.sister.assembly)


def test_a_tool_of_the_job_after_the_next_has_its_like_behind_it(floor, store):
    """Neither what runs nor the next job uses the station: the first that does decides."""
    waiting = broken_in(floor)
    starts = floor.now + timedelta(days=1)
    with store.write() as tx:
        drilled = {
            "part": "PIN-9",
            "material": "1.4305",
            "material_group": "M",
            "cycle_s": 45.0,
        }
        drilled["operations"] = [
            {"sequence": 10, "tool_number": 11, "tool_spec": "CROSS-3", "kind": "drill",
             "start_diameter_mm": 3.0, "length_mm": 12.0, "feed_mm_rev": 0.05,
             "cutting_speed_m_min": 60.0},
        ]  # fmt: skip
        insert_record(tx, PARTS, drilled)
        tx.exec_driver_sql(
            "UPDATE runs SET part_id = (SELECT id FROM parts WHERE part = 'PIN-9')"
        )
        for day, part in enumerate(("PIN-9", "PIN-8")):
            insert_record(
                tx, RUNS, {"machine": "M1", "part": part, "quantity": 500,
                           "start_at": starts + timedelta(days=day)},
            )  # fmt: skip

    (row,) = rows_of(floor.plan())

    assert row.why == "broken"
    assert row.sister.assembly == waiting
    floor.remove("broken")
    assert floor.mount(waiting)


def test_a_good_tool_that_nothing_uses_stays(floor, store):
    floor.mount(floor.sister())
    floor.make(60)
    with store.write() as tx:
        tx.exec_driver_sql(NOT_T01)

    assert not rows_of(floor.plan())


def test_the_bench_builds_what_goes_in_not_what_comes_out(floor, store):
    floor.mount(floor.sister())
    floor.make(60)
    with store.write() as tx:
        tx.exec_driver_sql(TO_DRILLS)

    plan = floor.plan()
    (row,) = rows_of(plan)
    found = make_swap_list(plan)
    place = found.queue_rows.index(row) + 1
    with store.read() as tx:
        card = bench_cards(tx, found, {place})[place]

    assert row.sister.state == "build"
    assert row.tool_spec == "CROSS-3"
    assert card.problem is None
    assert card.recipe.tool_spec == "CROSS-3"
    assert "CROSS-3" in next(swap_lines(found, floor.now.tzinfo))
    drills = next(one for one in holder_needs(plan, 24).rows if one.holder_type == "ER16-D")
    assert "CROSS-3" in {one.tool_spec for one in drills.tool_specs}
    turners = next(one for one in holder_needs(plan, 24).rows if one.holder_type == "SQ12-CN")
    assert turners.swaps == 0


def test_a_kit_does_not_put_a_tool_where_the_list_takes_one_out_for_none(floor, store):
    broken_in(floor, NOT_T01)

    kit = kit_for_run(floor.plan(), floor.run).kit

    assert "T01" not in {line.station for line in (*kit.pull, *kit.build, *kit.blocked)}
    assert "T01" in {line.station for line in kit.idle}
