"""Plans one after the other see what a plan made from nothing sees."""

from __future__ import annotations

import shutil
import uuid
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.clock import us_from_instant
from crib.outlook.kept_output import KeptOutput
from crib.outlook.plan_cache import STALE_AFTER, PlanCache
from crib.outlook.shop_now import read_shop
from crib.records.catalogue import RUNS
from crib.store.engine import Store
from crib.store.readings import GrowingReadings, load_readings
from crib.store.records import get_record, insert_record, update_record

CYCLE_S = 45


class Floor:
    """Two machines that count, and a process that makes plans now and then."""

    def __init__(self, store: Store, shop: SimpleNamespace) -> None:
        self.store, self.shop = store, shop
        self.now: datetime = shop.start + timedelta(minutes=1)
        self.kept = KeptOutput()
        self.made = {"M1": 0, "M2": 0}
        self.sent: dict[str, list[CountReading]] = {"M1": [], "M2": []}

    def tell(self, machine: str, *readings: CountReading) -> None:
        if readings:
            with self.store.write() as tx:
                report_counts(tx, self.now, ReportCounts(machine, list(readings)))
            self.sent[machine] += readings

    def count(self, machine: str, size: int = 1) -> list[CountReading]:
        """Readings as the counter shows them, one a few parts after the other."""
        readings = []
        for _ in range(size):
            self.now += timedelta(seconds=10 * CYCLE_S)
            self.made[machine] += 10
            readings.append(CountReading(self.now, self.made[machine]))
        return readings

    def compare(self) -> None:
        with self.store.read() as tx:
            kept = read_shop(tx, self.now, self.kept)
            whole = read_shop(tx, self.now)
        assert kept.rows.readings.keys() == whole.rows.readings.keys()
        for machine_id, machine in whole.machines.items():
            mine, output = kept.machines[machine_id].output, machine.output
            for name in ("at_us", "total", "run"):
                assert getattr(mine, name).tolist() == getattr(output, name).tolist()
            for place in range(len(whole.rows.runs.get(machine_id, ()))):
                assert mine.parts_of_run(place) == output.parts_of_run(place)
        assert kept.stays == whole.stays


@pytest.fixture
def floor(store, shop):
    return Floor(store, shop)


_ACTS = st.lists(
    st.tuples(
        st.sampled_from(
            [
                "on",
                "on",
                "on",
                "late",
                "repeat",
                "reset",
                "wrong",
                "run",
                "back",
                "ahead",
                "name",
            ]
        ),
        st.sampled_from(["M1", "M2"]),
        st.integers(1, 4),
        st.booleans(),
    ),
    min_size=1,
    max_size=14,
)


def act(floor: Floor, kind: str, machine: str, size: int) -> None:
    if kind == "on":
        floor.tell(machine, *floor.count(machine, size))
    elif kind == "late":  # the later ones get through first
        readings = floor.count(machine, size + 2)
        floor.tell(machine, *readings[1:])
        floor.compare()
        floor.tell(machine, readings[0])
    elif kind == "repeat":
        floor.tell(machine, *floor.sent[machine][-size:], *floor.count(machine))
    elif kind == "reset":
        floor.made[machine] = 0
        floor.tell(machine, *floor.count(machine, size))
    elif kind == "wrong":
        floor.now += timedelta(seconds=5)
        floor.tell(machine, CountReading(floor.now, 10_000_000 * size))
    elif kind == "run":
        change_run(floor)
    elif kind == "back":  # a clock that was put back
        floor.now -= timedelta(minutes=7 * size)
    elif kind == "ahead":  # a reporting clock that runs fast
        floor.made[machine] += 1
        at = floor.now + timedelta(seconds=60 * size)
        floor.tell(machine, CountReading(at, floor.made[machine]))
    elif kind == "name":
        run = str(floor.shop.ids["runs"]["M1"]) if machine == "M1" else None
        (reading,) = floor.count(machine)
        floor.tell(machine, CountReading(reading.at, reading.count, run))


def change_run(floor: Floor) -> None:
    """The run of M1 ends and another begins."""
    values: dict[str, Any] = {"machine": "M1", "part": "PIN-8", "quantity": 50}
    with floor.store.write() as tx:
        for (number,) in list(
            tx.exec_driver_sql(
                "SELECT id FROM runs WHERE state = 'running' AND machine_id = ?",
                (floor.shop.ids["machines"]["M1"],),
            )
        ):
            version = get_record(tx, RUNS, number)["version"]
            ended = {"state": "done", "end_at": max(floor.now, floor.shop.start)}
            update_record(tx, RUNS, number, ended, version)
        floor.now += timedelta(minutes=1)
        insert_record(tx, RUNS, values | {"start_at": floor.now, "state": "running"})


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(acts=_ACTS)
def test_whatever_comes_in_a_kept_look_is_a_whole_look(store, shop, tmp_path, acts):
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    path = tmp_path / f"{uuid.uuid4()}.db"  # each example begins with the small shop alone
    shutil.copy(tmp_path / "crib.db", path)
    copy = Store(f"sqlite:///{path}")
    floor = Floor(copy, shop)
    floor.compare()
    for kind, machine, size, look in acts:
        act(floor, kind, machine, size)
        if look:
            floor.compare()
    floor.compare()
    copy.close()


def test_readings_that_follow_on_are_read_alone(floor):
    readings = GrowingReadings()
    m1 = floor.shop.ids["machines"]["M1"]
    floor.tell("M1", *floor.count("M1", 5))
    far = us_from_instant(floor.now + timedelta(days=1))
    with floor.store.read() as tx:
        readings.read(tx, far)
    first = readings.epoch(m1)

    floor.tell("M1", *floor.count("M1", 3))
    floor.tell("M1", *floor.count("M1", 2))
    with floor.store.read() as tx:
        (known,) = readings.read(tx, far).values()

    assert known.total.tolist() == list(range(10, 110, 10))
    assert readings.epoch(m1) == first

    late = floor.count("M1", 2)
    floor.tell("M1", late[1])
    with floor.store.read() as tx:
        readings.read(tx, far)
    floor.tell("M1", late[0])
    with floor.store.read() as tx:
        (known,) = readings.read(tx, far).values()

    assert known.total.tolist() == list(range(10, 130, 10))
    assert readings.epoch(m1) == first + 1


@pytest.mark.parametrize(("place", "repeats"), [(0, True), (-1, False)])
def test_known_readings_that_a_batch_renumbers_are_read_anew(floor, place, repeats):
    readings = GrowingReadings()
    known = floor.count("M1", 5)
    floor.tell("M1", *known)
    far = us_from_instant(floor.now + timedelta(days=1))
    with floor.store.read() as tx:
        readings.read(tx, far)
    with floor.store.write() as tx:  # as a new life of the counter among them would
        tx.exec_driver_sql(
            "UPDATE count_readings SET total = total + 5 WHERE at = ?",
            (us_from_instant(known[place].at),),
        )
    again = known if repeats else []
    floor.tell("M1", *again, *floor.count("M1"))

    with floor.store.read() as tx:
        (seen,) = readings.read(tx, far).values()
        (whole,) = load_readings(tx, far).values()

    assert seen.total.tolist() == whole.total.tolist()
    assert seen.total[place - (place < 0)] == known[place].count + 5


def test_a_database_put_back_to_an_earlier_state_is_read_anew(floor):
    readings = GrowingReadings()
    floor.tell("M1", *floor.count("M1", 5))
    far = us_from_instant(floor.now + timedelta(days=1))
    with floor.store.read() as tx:
        readings.read(tx, far)
    with floor.store.write() as tx:  # another past with a fact of the same number
        tx.exec_driver_sql("DROP TRIGGER facts_no_update")
        tx.exec_driver_sql("UPDATE facts SET recorded_at = recorded_at + 1")
        tx.exec_driver_sql("UPDATE count_readings SET total = total + 3")

    with floor.store.read() as tx:
        (known,) = readings.read(tx, far).values()
        (whole,) = load_readings(tx, far).values()

    assert known.total.tolist() == whole.total.tolist() == [13, 23, 33, 43, 53]


def test_a_clock_that_goes_back_gets_a_plan_of_its_own(floor):
    """A clock set by hand, or set right by its time server."""
    plans = PlanCache(floor.store)
    floor.tell("M1", *floor.count("M1", 4))
    later = floor.now + timedelta(minutes=10)
    made = plans.plan(later)

    assert plans.plan(later + STALE_AFTER) is made
    assert plans.plan(later + STALE_AFTER + timedelta(seconds=1)) is not made
    for back in (timedelta(microseconds=1), timedelta(minutes=5)):
        again = plans.plan(later - back)
        assert again.shop.now == later - back
        assert plans.plan(later - back) is again


def test_the_plan_of_a_process_follows_the_counter(floor):
    plans = PlanCache(floor.store, stale_after=timedelta(0))
    m1 = floor.shop.ids["machines"]["M1"]
    made = []
    for _ in range(3):
        floor.tell("M1", *floor.count("M1", 4))
        made.append(int(plans.plan(floor.now).shop.machines[m1].output.total[-1]))

    assert made == [40, 80, 120]
