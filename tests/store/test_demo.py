"""The demo: a whole invented shop, told as facts, with the mess of a real one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from threading import Event
from zoneinfo import ZoneInfo

import pytest

from crib.acts.remove_tool import RemoveTool, remove_tool
from crib.clock import instant_from_us
from crib.demo.history import build
from crib.demo.machines import TIME_ZONE
from crib.demo.moving import Mover, keep_moving
from crib.errors import Refusal
from crib.floor.timeline import us_of
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import CONDITIONS
from crib.store.checking import check
from crib.store.engine import Store
from crib.store.kept_rows import kept_between
from crib.store.rack_rows import placed_rows, sharing_places, waiting_rows
from crib.views.score_forecasts import score_forecasts
from crib.views.shift_summary import shift_summary
from crib.views.where_it_lies import places_now
from tests.demos import PRESENT, Demo, Demos, make_demo


@pytest.fixture(scope="module")
def demo(demos: Demos, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    """Eight days of the demo; tests that use it only look."""
    made = demos.copy(tmp_path_factory.mktemp("demo"))
    yield made
    made.store.close()


def number(store: Store, statement: str) -> int:
    with store.read() as tx:
        return int(tx.exec_driver_sql(statement).scalar_one())


def look(store: Store, at: datetime):
    with store.read() as tx:
        plan = plan_shop(tx, at)
    return plan, make_swap_list(plan, 24)


def dump(store: Store) -> dict[str, list[tuple]]:
    tables = ("facts", "assemblies", "label_codes", "mounts", "removals", "presets",
              "corrections", "count_readings", "count_refusals", "stock_moves", "runs",
              "holders", "lots")  # fmt: skip
    with store.read() as tx:
        return {
            name: [tuple(row) for row in tx.exec_driver_sql(f"SELECT * FROM {name}")]
            for name in tables
        }


def test_the_history_is_whole_and_all_of_it_lies_behind(demo):
    assert check(demo.store) == []
    latest = number(demo.store, "SELECT max(at) FROM facts")
    assert latest <= PRESENT.timestamp() * 1e6
    assert latest > (PRESENT - timedelta(minutes=11)).timestamp() * 1e6
    assert demo.progress == [(day, 8) for day in range(1, 9)]


def test_first_offs_shrink_once_the_data_of_the_stations_are_learned(demo) -> None:
    with demo.store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT m.station_id, abs(c.change_tenths_um) FROM corrections AS c"
            " JOIN mounts AS m ON m.fact_id = c.mount_id"
            " WHERE c.correction_kind = 'first_off' ORDER BY c.fact_id"
        ).fetchall()
    first = dict(reversed([tuple(row) for row in rows]))
    later = [step for number, (station, step) in enumerate(rows)
             if station in [row[0] for row in rows[:number]]]  # fmt: skip

    assert len(first) > 5
    assert len(later) > 20
    assert sum(later) / len(later) < 0.6 * sum(first.values()) / len(first)


MESS = {
    "a job change": "SELECT count(*) FROM removals WHERE reason = 'job_change'",
    "a tool that waits for its next job": "SELECT count(*) FROM assembly_state"
    " WHERE cutter_status = 'USED'",
    "a broken or chipped edge": "SELECT count(*) FROM removals"
    " WHERE reason IN ('broken', 'chipped')",
    "an edge worn before its time": "SELECT count(*) FROM removals"
    " WHERE reason IN ('worn_early', 'size', 'finish', 'burr')",
    "a measured land": "SELECT count(*) FROM removals WHERE flank_wear_tenths_um > 0",
    "a first-off correction": "SELECT count(*) FROM corrections"
    " WHERE correction_kind = 'first_off'",
    "a size correction": "SELECT count(*) FROM corrections WHERE correction_kind = 'size'",
    "a count that was too fast": "SELECT count(*) FROM count_refusals"
    " WHERE reason = 'too_fast'",
    "a counter that was reset": "SELECT count(*) FROM count_readings WHERE life > 0",
    "counts that came hours late": "SELECT count(*) FROM count_readings c"
    " JOIN facts f ON f.id = c.batch_id WHERE f.recorded_at > c.at + 5 * 3600 * 1000000",
    "a superseded label": "SELECT count(*) FROM label_codes WHERE superseded_at IS NOT NULL",
    "a preset that was not accepted": "SELECT count(*) FROM presets WHERE NOT accepted",
    "a holder out of service": "SELECT count(*) FROM holders WHERE condition <> 'good'",
    "a machine that stood": "SELECT count(*) FROM stops",
    "a tool taken apart": "SELECT count(*) FROM teardowns",
    "a sister not yet measured": "SELECT count(*) FROM assembly_state"
    " WHERE cutter_status = 'NEW'",
    "an item nearly out of stock": "SELECT count(*) FROM (SELECT cutting_item_id FROM lots"
    " GROUP BY cutting_item_id HAVING sum(on_hand) <= 9)",
    "a run that is done": "SELECT count(*) FROM runs WHERE state = 'done'",
    "a check of the gauge each morning": "SELECT count(*) >= 7 FROM gauge_checks",
}


@pytest.mark.parametrize("what", MESS)
def test_the_history_holds(demo, what):
    assert number(demo.store, MESS[what]) > 0


def test_a_batch_came_twice_and_was_counted_once(demo):
    assert demo.shop.journal.repeats > 0
    counted = (
        "SELECT count(*) FROM (SELECT 1 FROM count_readings GROUP BY machine_id, at"
        " HAVING count(*) > 1)"
    )
    assert number(demo.store, counted) == 0
    for machine in demo.shop.machines.values():
        total = number(
            demo.store,
            "SELECT max(total) FROM count_readings c JOIN machines m ON m.id = c.machine_id"
            f" WHERE m.machine = '{machine.mark}'",
        )
        assert 0 <= machine.total - total < 200, machine.mark


def test_a_wrong_scan_was_refused_and_left_no_trace(demo):
    assert demo.shop.journal.refusals > 0
    wrong = (
        "SELECT count(*) FROM mounts m JOIN assemblies a ON a.fact_id = m.assembly_id"
        " JOIN stations s ON s.id = m.station_id JOIN tool_specs t ON t.id = a.tool_spec_id"
        " WHERE NOT EXISTS (SELECT 1 FROM operations o WHERE o.tool_spec_id = t.id"
        " AND o.tool_number = s.tool_number)"
    )
    assert number(demo.store, wrong) == 0


def test_every_machine_has_a_month_of_work_and_runs(demo):
    with demo.store.read() as tx:
        states = tx.exec_driver_sql(
            "SELECT machine_id, sum(state = 'running'), sum(state = 'planned'),"
            " max(start_at) FROM runs GROUP BY machine_id"
        ).fetchall()
    assert len(states) == 6
    month = (PRESENT + timedelta(days=28)).timestamp() * 1e6
    for _, running, planned, last in states:
        assert running <= 1 <= planned
        assert last >= month
    assert sum(row[1] for row in states) >= 4


def test_every_holder_is_in_a_condition_that_the_shop_knows(demo):
    with demo.store.read() as tx:
        found = tx.exec_driver_sql("SELECT DISTINCT condition FROM holders").scalars().all()

    assert "repair" in found
    assert set(found) <= set(CONDITIONS)


def test_the_list_of_the_next_day_holds_every_state_of_a_sister(demo):
    plan, swaps = look(demo.store, PRESENT)
    states = Counter(row.sister.state for row in swaps.rows)
    assert set(states) == {"ready", "build", "measure", "blocked"}
    assert "ready" in [row.sister.state for row in swaps.rows[:5]]
    assert swaps.queue.rows
    assert sum(row.late for row in swaps.queue.rows) <= len(swaps.queue.rows) / 2
    assert len(plan.forecasts) >= 40


def test_the_attendant_scanned_where_each_tool_outside_the_machines_is(demo):
    _, swaps = look(demo.store, PRESENT)
    with demo.store.read() as tx:
        tools = places_now(tx).tools
        waiting = [row.code for row in waiting_rows(tx)]
    built = {row.sister.assembly: row.sister for row in swaps.rows if row.sister.assembly}

    assert len(waiting) > 10
    assert set(waiting) <= set(tools)
    assert {tools[code] for code, one in built.items() if one.state == "measure"} == {"bench 1"}
    racked = [tools[code] for code, one in built.items() if one.state == "ready"]
    assert sum(one.startswith("rack of L") for one in racked) > len(racked) / 2


def test_every_tool_in_a_rack_has_a_place_of_its_own(demo):
    with demo.store.read() as tx:
        placed = [row for row in placed_rows(tx) if row.machine]
        sharing = sharing_places(tx)

    assert len(placed) > 20
    assert sharing == {}


def test_every_machine_with_a_network_was_heard_when_the_history_ends(demo):
    plan, _ = look(demo.store, PRESENT)
    with demo.store.read() as tx:
        silent = {one.machine for one in shift_summary(tx, plan).quiet if one.state == "silent"}

    cut_off = {one.mark for one in demo.shop.machines.values() if one.silent_until}
    assert silent <= cut_off


def test_the_supervisor_looked_and_the_looks_can_be_judged(demo):
    local = ZoneInfo(TIME_ZONE)
    with demo.store.read() as tx:
        kept = kept_between(tx, 0, us_of(PRESENT))
        scores = score_forecasts(tx, plan_shop(tx, PRESENT), "shop").scores
    looks = {instant_from_us(row.at_us).astimezone(local) for row in kept}

    assert {(at.weekday(), at.hour) for at in looks} == {(0, 14), (3, 14)}
    assert len(looks) == 2
    assert len(kept) > 60
    (score,) = scores
    assert score.ended > 10
    assert score.shift.trials > 10


def test_quantiles_of_every_forecast_rise(demo):
    plan, _ = look(demo.store, PRESENT)
    for row in plan.forecasts:
        left = [row.parts_left[name] for name in ("p05", "p10", "p50", "p90")]
        known = [parts for parts in left if parts is not None]
        assert known == sorted(known)
        if known and row.fail_probability_shift is not None:
            assert known[0] < known[-1]


@pytest.mark.parametrize(
    "present",
    [
        datetime(2026, 3, 14, 15, 5, tzinfo=UTC),
        datetime(2026, 3, 15, 12, 7, tzinfo=UTC),
        datetime(2026, 3, 12, 2, 31, tzinfo=UTC),
    ],
    ids=["saturday", "sunday", "night"],
)
def test_the_list_is_as_full_when_nobody_is_there(tmp_path, present):
    made = make_demo(tmp_path / "crib.db", days=1, present=present)
    _, swaps = look(made.store, present)
    made.store.close()
    assert {row.sister.state for row in swaps.rows} == {"ready", "build", "measure", "blocked"}


def test_the_same_seed_tells_the_same_history_and_another_seed_another(demos, tmp_path):
    made = [
        demos.copy(tmp_path, days=3, seed=2),
        make_demo(tmp_path / "again.db", days=3, seed=2),
        demos.copy(tmp_path, days=3, seed=3),
    ]
    first, again, other = (dump(one.store) for one in made)
    for one in made:
        one.store.close()
    assert first == again
    assert first["removals"] != other["removals"]


def test_a_database_that_holds_anything_is_refused(shop, store):
    before = number(store, "SELECT revision FROM revisions")
    with pytest.raises(Refusal, match="empty"):
        build(store, present=PRESENT, days=2)
    assert number(store, "SELECT revision FROM revisions") == before


def test_the_shop_goes_on_step_by_step(demos, tmp_path):
    made = demos.copy(tmp_path, days=3, seed=2)
    mover = Mover(made.store, made.shop)
    made_before = number(made.store, "SELECT sum(total) FROM (SELECT max(total) AS total"
                         " FROM count_readings GROUP BY machine_id)")  # fmt: skip
    lists = []
    for hours in (10, 20, 30, 40):
        until = PRESENT + timedelta(hours=hours)
        assert mover.go_on(until) > 0
        assert timedelta(0) <= until - mover.at < timedelta(minutes=10)
        lists.append(len(look(made.store, mover.at)[1].rows))
    made_after = number(made.store, "SELECT sum(total) FROM (SELECT max(total) AS total"
                        " FROM count_readings GROUP BY machine_id)")  # fmt: skip
    whole = check(made.store)
    kinds = number(made.store, f"SELECT count(DISTINCT kind) FROM facts"
                   f" WHERE at > {int(PRESENT.timestamp() * 1e6)}")  # fmt: skip
    made.store.close()

    assert min(lists) > 0
    assert made_after > made_before + 2_500
    assert kinds >= 8
    assert whole == []


def test_a_visitor_who_takes_a_tool_out_does_not_stop_the_shop(demos, tmp_path):
    made = demos.copy(tmp_path, days=3, seed=2)
    mover = Mover(made.store, made.shop)
    with made.store.write() as tx:
        mounted = tx.exec_driver_sql(
            "SELECT m.machine || '/' || s.station FROM station_state t"
            " JOIN stations s ON s.id = t.station_id JOIN machines m ON m.id = s.machine_id"
        ).fetchall()
        for (mark,) in mounted[::4]:
            command = RemoveTool("inspection", station=mark, by="301")
            remove_tool(tx, PRESENT, command)
    mover.go_on(PRESENT + timedelta(days=1))
    whole = check(made.store)
    mounts = number(
        made.store,
        "SELECT count(*) FROM mounts m JOIN facts f ON f.id = m.fact_id"
        f" WHERE f.at > {int(PRESENT.timestamp() * 1e6)}",
    )
    made.store.close()
    assert whole == []
    assert mounts > 5  # what the jobs need of it goes back in; edges hold several nights


def test_keeping_up_with_the_clock_ends_when_told(demos, tmp_path, monkeypatch):
    monkeypatch.setattr("crib.demo.moving._LOOK_S", 0.0)
    made = demos.copy(tmp_path, days=3, seed=2)
    mover, stop = Mover(made.store, made.shop), Event()
    times = iter(range(1, 4))

    def clock() -> datetime:
        hour = next(times)
        if hour == 3:
            stop.set()
        return PRESENT + timedelta(hours=hour)

    keep_moving(mover, stop, clock)
    made.store.close()
    assert mover.at > PRESENT + timedelta(hours=2, minutes=50)


@pytest.mark.parametrize("seed", [2, 3])
def test_nothing_that_the_invented_people_do_is_refused(demos, tmp_path, seed, caplog):
    made = demos.copy(tmp_path, seed=seed, days=3)
    with caplog.at_level("INFO", logger="crib.demo"):
        Mover(made.store, made.shop).go_on(PRESENT + timedelta(days=1))
    made.store.close()
    assert "refused" not in caplog.text
