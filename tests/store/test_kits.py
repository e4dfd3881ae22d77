"""Kits and the swap list share what waits: nothing is promised twice."""

from datetime import timedelta

import pytest

from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import PARTS, RUNS
from crib.store.records import insert_record
from crib.views.kit_for_run import kit_for_run
from crib.views.machine_view import machine_now
from tests.store.test_forecast import Floor


@pytest.fixture
def floor(store, shop):
    floor = Floor(store, shop)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    return floor


def add_run(floor, machine="M2", **values):
    with floor.store.write() as tx:
        return insert_record(
            tx, RUNS, {"machine": machine, "part": "PIN-8", "quantity": 900} | values
        )


def given(plan, hours=24):
    """What the swap list gives, by place: assembly or holder of each first row."""
    return {
        f"{row.forecast.machine}/{row.forecast.station}": (
            row.sister.assembly or row.sister.holder
        )
        for row in make_swap_list(plan, hours).rows
        if row.ordinal == 0
    }


def named(plan, run):
    """What a kit names, by station."""
    kit = kit_for_run(plan, run).kit
    return {line.station: line.assembly or line.holder for line in (*kit.pull, *kit.build)}


def test_a_ready_tool_of_the_list_is_in_no_other_run_s_kit(floor):
    other = add_run(floor, state="running", start_at=floor.now)
    waiting = floor.sister()

    plan = floor.plan()

    assert given(plan)["M1/T01"] == waiting
    assert waiting not in named(plan, other).values()
    assert named(plan, floor.run)["T01"] == waiting


def test_the_kit_of_what_runs_names_what_the_list_names_for_its_stations(floor):
    other = add_run(floor, state="running", start_at=floor.now)
    floor.sister(holder="TH-2")
    floor.sister("CROSS-3", "DH-1", "LOT-D1")

    plan = floor.plan()
    listed = given(plan)

    for machine, run in (("M1", floor.run), ("M2", other)):
        for station, what in named(plan, run).items():
            assert what == listed[f"{machine}/{station}"]
    both = [*named(plan, floor.run).values(), *named(plan, other).values()]
    assert len(both) == len(set(both)) >= 3


def test_a_holder_that_the_list_builds_on_is_in_no_other_run_s_kit(floor):
    other = add_run(floor, state="running", start_at=floor.now)

    plan = floor.plan()
    kits = [named(plan, floor.run), named(plan, other)]

    assert kits[0]["T01"] == given(plan)["M1/T01"]
    assert not set(kits[0].values()) & set(kits[1].values())


@pytest.mark.parametrize(("first", "second"), [("M1", "M2"), ("M2", "M1")])
def test_two_changeovers_do_not_share_a_tool_and_the_first_gets_it(floor, first, second):
    with floor.store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done'")
    far = floor.now + timedelta(days=7)
    runs = [
        add_run(floor, first, start_at=far, quantity=10),
        add_run(floor, second, start_at=far + timedelta(days=1), quantity=10),
    ]
    waiting = floor.sister()

    plan = floor.plan()

    assert not make_swap_list(plan, 72).rows  # both are beyond what the list looks at
    assert named(plan, runs[1])["T01"] == "TH-2"  # whichever kit is asked for first
    assert named(plan, runs[0])["T01"] == waiting


def test_the_next_job_of_a_machine_finds_there_what_the_job_before_it_brings(floor):
    with floor.store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done'")
    far = floor.now + timedelta(days=7)
    runs = [add_run(floor, start_at=far + timedelta(days=n), quantity=10) for n in range(2)]
    floor.sister()

    plan = floor.plan()

    assert named(plan, runs[0]) == named(plan, runs[1])


def test_a_machine_s_page_names_no_tool_that_is_meant_for_another_place(floor):
    with floor.store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET quantity = 20")
    add_run(floor, start_at=floor.now + timedelta(days=7))
    waiting = floor.sister()
    plan = floor.plan()
    assert given(plan)["M1/T01"] == waiting

    with floor.store.read() as tx:
        here = {one.row.station: one for one in machine_now(tx, plan, "M2").stations}
    assert here["T01"].sister is None

    second = floor.sister(holder="TH-2")
    plan = floor.plan()
    with floor.store.read() as tx:
        here = {one.row.station: one for one in machine_now(tx, plan, "M2").stations}
    assert here["T01"].sister is not None
    assert {given(plan)["M1/T01"], here["T01"].sister.assembly} == {waiting, second}


def test_a_tool_of_a_near_changeover_is_not_in_the_kit_of_a_far_one(floor):
    drilled = {
        "part": "PIN-9", "material": "1.4305", "material_group": "M", "bar_diameter_mm": 10.0,
        "part_length_mm": 40.0, "cutoff_width_mm": 2.0, "cycle_s": 45.0,
        "operations": [
            {
                "sequence": 10, "tool_number": 1, "tool_spec": "CROSS-3", "kind": "drill",
                "start_diameter_mm": 3.0, "length_mm": 12.0, "feed_mm_rev": 0.05,
                "cutting_speed_m_min": 60.0,
            }
        ],
    }  # fmt: skip
    floor.mount(floor.sister())
    floor.mount(floor.sister("CROSS-3", "DH-1", "LOT-D1"), "M1/T11")
    with floor.store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET quantity = 40")
        insert_record(tx, PARTS, drilled)
    near = add_run(
        floor, "M1", part="PIN-9", start_at=floor.now + timedelta(hours=5), quantity=10
    )
    far = add_run(floor, start_at=floor.now + timedelta(hours=40), quantity=10)
    waiting = floor.sister("CROSS-3", "DH-2", "LOT-D1")

    plan = floor.plan()
    # the usual list says nothing of it yet, and one that looks further leaves it to the kit
    assert waiting not in given(plan).values()
    assert waiting not in given(plan, 72).values()

    assert named(plan, near)["T01"] == waiting
    assert waiting not in named(plan, far).values()
