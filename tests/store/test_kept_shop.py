"""Whatever is written, a shop that was read again in part is the shop read whole."""

from __future__ import annotations

import shutil
import sqlite3
import uuid
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from dataclasses import FrozenInstanceError, fields, is_dataclass
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.correct_offset import CorrectOffset, correct_offset
from crib.acts.count_columns import CountReading
from crib.acts.judge_count import JudgeCount, judge_count
from crib.acts.move_stock import MoveStock, move_stock
from crib.acts.report_counts import ReportCounts, report_counts
from crib.acts.report_stop import ReportStop, report_stop
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.acts.signal_breakage import SignalBreakage, signal_breakage
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Refusal
from crib.outlook import kept_shop
from crib.outlook.cutting_data import CuttingData
from crib.outlook.expected_lives import expect_lives
from crib.outlook.kept_shop import KeptShop
from crib.outlook.own_constants import refine_view
from crib.outlook.plan_cache import STALE_AFTER, PlanCache
from crib.outlook.shop_now import read_shop, view_machines, with_tools
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import (
    CLOSURES,
    HOLDERS,
    MACHINES,
    PARTS,
    RUNS,
    STATIONS,
    TOOL_LIFE,
    TOOL_SPECS,
)
from crib.records.columns import Record
from crib.store.engine import Store, Tx
from crib.store.machine_rows import load_machine, load_machines_whole
from crib.store.records import get_record, insert_record, update_record
from crib.store.revisions import (
    BY_COLUMN,
    BY_STATION,
    READ_EACH_TIME,
    SHARED,
    machines_changed,
    revisions,
)
from crib.store.shop_rows import load_shared
from crib.store.tables import metadata
from crib.store.wear_rows import read_cutting_rows
from tests.store.conftest import Acts

FAR_US = 2**61


def differences(mine: object, whole: object, path: str = "shop") -> list[str]:
    """Where two values differ, field by field down to numbers and arrays."""
    if type(mine) is not type(whole):
        return [f"{path}: {type(mine).__name__} is not {type(whole).__name__}"]
    if isinstance(whole, np.ndarray):
        return [] if np.array_equal(mine, whole) else [f"{path}: {mine} is not {whole}"]
    if isinstance(whole, Mapping):
        if list(mine) != list(whole):
            return [f"{path}: keys {list(mine)} are not {list(whole)}"]
        pairs = [(f"{path}[{key}]", mine[key], whole[key]) for key in whole]
    elif is_dataclass(whole):
        names = [field.name for field in fields(whole)]
        pairs = [
            (f"{path}.{name}", getattr(mine, name), getattr(whole, name)) for name in names
        ]
    elif isinstance(whole, CuttingData):
        # what was remembered has to be what it would be worked out as now
        remembered = {key: whole._compute(*key) for key in mine._known}
        return differences(vars(mine), vars(whole) | {"_known": remembered}, f"{path}(data)")
    elif isinstance(whole, (list, tuple)):
        if len(mine) != len(whole):
            return [f"{path}: {len(mine)} rows are not {len(whole)}"]
        pairs = [
            (f"{path}[{at}]", *pair) for at, pair in enumerate(zip(mine, whole, strict=True))
        ]
    elif isinstance(whole, BaseException):
        return [] if repr(mine) == repr(whole) else [f"{path}: {mine!r} is not {whole!r}"]
    else:
        return [] if mine == whole else [f"{path}: {mine!r} is not {whole!r}"]
    return [line for pair in pairs for line in differences(pair[1], pair[2], pair[0])]


class NothingThereError(Exception):
    """There is nothing yet that an act could be done to."""


def first(acts: Acts, statement: str, *parameters: object) -> Any:
    found = acts.tx.exec_driver_sql(statement, parameters).scalar()
    if found is None:
        raise NothingThereError
    return found


class Floor:
    """The small shop, whoever writes to it, and a process that looks at it now and then."""

    def __init__(self, path: Path, shop: SimpleNamespace) -> None:
        self.path, self.shop = path, shop
        self.mine = Store(f"sqlite:///{path}")
        self.other = Store(f"sqlite:///{path}")  # as another process has it
        self.now: datetime = shop.start + timedelta(hours=1)
        self.kept = KeptShop(whole_after=timedelta(days=3650))
        self.made = {"M1": 0, "M2": 0}
        self.codes: list[str] = []

    def close(self) -> None:
        self.mine.close()
        self.other.close()

    def write(self, act: Callable[[Acts], object], *, elsewhere: bool = False) -> bool:
        """Do something in a transaction of its own; whether it was not refused."""
        store = self.other if elsewhere else self.mine
        with suppress(Refusal, NothingThereError), store.write() as tx:
            acts = Acts(tx, self.shop)
            acts.present = self.now
            act(acts)
            return True
        return False

    def compare(self) -> None:
        """Whoever kept what was read, and whoever reads it all, see the same shop."""
        with self.mine.read() as tx:
            kept, whole = read_shop(tx, self.now, self.kept), read_shop(tx, self.now)
        assert differences(kept, whole) == []


@pytest.fixture
def floor(store: Store, shop: SimpleNamespace, tmp_path: Path):
    floor = Floor(tmp_path / "crib.db", shop)
    yield floor
    floor.close()


def minutes(floor: Floor) -> float:
    return (floor.now - floor.shop.start) / timedelta(minutes=1)


def count(floor: Floor, acts: Acts, n: int) -> None:
    machine = ("M1", "M2")[n % 2]
    floor.made[machine] += n
    report_counts(
        acts.tx,
        floor.now,
        ReportCounts(machine, [CountReading(floor.now, floor.made[machine])]),
    )


def wrong_count(floor: Floor, acts: Acts, n: int) -> None:
    told = ReportCounts(("M1", "M2")[n % 2], [CountReading(floor.now, 10_000_000 * n)])
    report_counts(acts.tx, floor.now, told)


def judge(floor: Floor, acts: Acts, n: int) -> None:
    refusal = first(acts, "SELECT id FROM count_refusals ORDER BY id DESC LIMIT 1")
    judge_count(
        acts.tx, floor.now, JudgeCount(refusal, ("accepted", "discarded")[n % 2], by="B3")
    )


def build(floor: Floor, acts: Acts, n: int) -> None:
    holder = ("TH-1", "TH-2", "DH-1", "DH-2")[n % 4]
    floor.codes.append(acts.ready(minutes(floor) - 2, holder))


def preset_again(floor: Floor, acts: Acts, n: int) -> None:
    floor.codes.append(acts.preset(floor.codes[n % len(floor.codes)], minutes(floor)).code)


def mount(floor: Floor, acts: Acts, n: int) -> None:
    station = ("M1/T01", "M1/T02", "M2/T01", "M1/T11", "M2/T11")[n % 5]
    acts.mount(floor.codes[-1 - n % len(floor.codes)], minutes(floor), station)


def remove(floor: Floor, acts: Acts, n: int) -> None:
    station = ("M1/T01", "M1/T02", "M2/T01", "M1/T11", "M2/T11")[n % 5]
    reason = ("worn_as_planned", "job_change", "inspection", "chipped")[n % 4]
    acts.remove(minutes(floor), reason, station=station)


def move_over(floor: Floor, acts: Acts, n: int) -> None:
    """A tool goes from one machine into the other."""
    ways = (("M1/T01", "M2/T01"), ("M2/T01", "M1/T01"))
    source, target = ways[n % 2]
    removed = acts.remove(minutes(floor), "job_change", station=source)
    acts.mount(removed.code, minutes(floor), target)


def correct(floor: Floor, acts: Acts, n: int) -> None:
    station = ("M1/T01", "M2/T01")[n % 2]
    kind = "size" if n > 1 else "first_off"
    correct_offset(acts.tx, floor.now, CorrectOffset(station, "X", -50 * n, kind))


def breaks(floor: Floor, acts: Acts, n: int) -> None:
    station = ("M1/T01", "M1/T02", "M2/T01")[n % 3]
    signal_breakage(acts.tx, floor.now, SignalBreakage("load", station))


def take_back(floor: Floor, acts: Acts, n: int) -> None:
    fact = first(
        acts,
        "SELECT id FROM facts WHERE kind NOT IN ('reversal', 'count')"
        " ORDER BY id DESC LIMIT 1 OFFSET ?",
        n - 1,
    )
    reverse_fact(acts.tx, floor.now, ReverseFact(fact))


def take_apart(floor: Floor, acts: Acts, n: int) -> None:
    tear_down(acts.tx, floor.now, TearDown(floor.codes[n % len(floor.codes)]))


def stock(floor: Floor, acts: Acts, n: int) -> None:
    lot = ("LOT-I1", "LOT-D1")[n % 2]
    move_stock(acts.tx, floor.now, MoveStock(lot, ("receipt", "issue")[n % 3 > 1], n))


def stop(floor: Floor, acts: Acts, n: int) -> None:
    report_stop(acts.tx, floor.now, ReportStop(("M1", "M2")[n % 2], "bar empty"))


def edit(acts: Acts, record: Record, key: str, **values: Any) -> None:
    number = acts.shop.ids[record.name][key]
    update_record(
        acts.tx, record, number, values, get_record(acts.tx, record, number)["version"]
    )


def edit_something(floor: Floor, acts: Acts, n: int) -> None:
    edits: list[tuple[Record, str, dict[str, Any]]] = [
        (TOOL_SPECS, "TURN-OD", {"life_parts": 700.0 + minutes(floor)}),
        (PARTS, "PIN-8", {"cycle_s": 40.0 + minutes(floor) % 7}),
        (MACHINES, "M2", {"bar_remnant_mm": 200.0 + minutes(floor) % 9}),
        (STATIONS, "M1/T02", {"tool_number": 3 + round(minutes(floor)) % 4}),
        (HOLDERS, "TH-3", {"location": f"shelf {n}"}),
    ]
    record, key, values = edits[n % len(edits)]
    edit(acts, record, key, **values)


def edit_hours(floor: Floor, acts: Acts, n: int) -> None:
    day = (floor.now + timedelta(days=n)).date().isoformat()
    values = {"calendar": "weekdays", "start": day, "end": day, "kind": "closed", "reason": "x"}
    insert_record(acts.tx, CLOSURES, values)


def edit_constants(floor: Floor, acts: Acts, n: int) -> None:
    number = first(acts, "SELECT id FROM tool_life LIMIT 1")
    version = get_record(acts.tx, TOOL_LIFE, number)["version"]
    update_record(acts.tx, TOOL_LIFE, number, {"n": 0.2 + n / 100}, version)


def plan_run(floor: Floor, acts: Acts, n: int) -> None:
    values = {"machine": ("M1", "M2")[n % 2], "part": "PIN-8", "quantity": 50 * n}
    start = floor.now + timedelta(hours=n)
    insert_record(acts.tx, RUNS, values | {"start_at": start, "state": "planned"})


def give_run_away(floor: Floor, acts: Acts, n: int) -> None:
    """A planned run goes to the other machine."""
    run = first(acts, "SELECT id FROM runs WHERE state = 'planned' LIMIT 1")
    version = get_record(acts.tx, RUNS, run)["version"]
    update_record(acts.tx, RUNS, run, {"machine": ("M1", "M2")[n % 2]}, version)


def end_run(floor: Floor, acts: Acts, n: int) -> None:
    run = first(acts, "SELECT id FROM runs WHERE state = 'running' LIMIT 1")
    version = get_record(acts.tx, RUNS, run)["version"]
    update_record(acts.tx, RUNS, run, {"state": "done", "end_at": floor.now}, version)


WRITES = {
    one.__name__: one
    for one in (
        count, wrong_count, judge, build, preset_again, mount, remove, move_over, correct,
        breaks, take_back, take_apart, stock, stop, edit_something, edit_hours, edit_constants,
        plan_run, give_run_away, end_run,
    )
}  # fmt: skip

_ACTS = st.lists(
    st.tuples(
        st.sampled_from(
            [*WRITES, *["build", "mount", "count", "take_back"] * 2, "back", "ahead", "rest"]
        ),
        st.integers(1, 5),
        st.booleans(),  # whether another process does it
        st.sampled_from([True, True, False]),  # whether somebody looks afterwards
    ),
    min_size=1,
    max_size=25,
)


def do(floor: Floor, kind: str, n: int, *, elsewhere: bool) -> bool:
    """Let time pass and something happen; whether it did, and was not refused."""
    floor.now += timedelta(minutes=n)
    if kind == "back":  # a clock that was put back
        floor.now -= timedelta(minutes=7 * n)
    elif kind == "rest":
        floor.now += timedelta(hours=n)
    elif kind == "ahead":  # a clock that was ahead while somebody wrote
        floor.now += timedelta(minutes=20)
        floor.write(lambda acts: build(floor, acts, n), elsewhere=elsewhere)
        done = floor.write(lambda acts: mount(floor, acts, n), elsewhere=elsewhere)
        floor.now -= timedelta(minutes=20)
        return done
    elif floor.codes or kind not in ("preset_again", "mount", "take_apart"):
        return floor.write(lambda acts: WRITES[kind](floor, acts, n), elsewhere=elsewhere)
    return kind in ("back", "rest")


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(acts=_ACTS)
def test_whatever_is_written_what_is_read_again_is_the_whole(store, shop, tmp_path, acts):
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    path = tmp_path / f"{uuid.uuid4()}.db"  # each example begins with the small shop alone
    shutil.copy(tmp_path / "crib.db", path)
    with closing(Floor(path, shop)) as floor:
        floor.compare()
        for kind, n, elsewhere, look in acts:
            do(floor, kind, n, elsewhere=elsewhere)
            if look:
                floor.compare()
        floor.compare()


@pytest.mark.parametrize("kind", [*WRITES, "ahead", "back"])
def test_after_each_kind_of_write(floor, kind):
    for before, n in (("build", 4), ("mount", 5), ("build", 1), ("build", 2), ("plan_run", 5),
                      ("count", 1), ("count", 3), ("wrong_count", 1)):  # fmt: skip
        assert do(floor, before, n, elsewhere=False)
    floor.compare()
    done = False
    for n in range(1, 6):
        done |= do(floor, kind, n, elsewhere=bool(n % 2))
        floor.compare()
    assert done


def test_a_fact_dated_ahead_comes_true_without_another_write_to_it(floor):
    assert do(floor, "build", 4, elsewhere=False)
    floor.now += timedelta(minutes=20)
    assert floor.write(lambda acts: mount(floor, acts, 5), elsewhere=True)
    floor.now -= timedelta(minutes=20)
    floor.compare()
    floor.now += timedelta(minutes=21)
    assert do(floor, "count", 2, elsewhere=True)

    floor.compare()


def test_a_clock_that_went_back_sees_no_more_than_it_should(floor):
    for kind, n in (("build", 4), ("mount", 5), ("count", 2)):
        assert do(floor, kind, n, elsewhere=False)
    floor.compare()
    floor.now -= timedelta(minutes=9)
    assert do(floor, "plan_run", 1, elsewhere=True)

    floor.compare()


def test_a_size_correction_that_is_taken_back_is_gone(floor):
    """Its reversal touches no row but the fact of taking it back."""
    for kind, n in (("build", 4), ("mount", 5), ("correct", 2)):
        assert do(floor, kind, n, elsewhere=False)
    floor.compare()
    assert do(floor, "take_back", 1, elsewhere=True)

    floor.compare()


def tables_read(tx: Tx, load: Callable[[], object]) -> set[str]:
    """Tables of which the database itself says that something reads them."""
    found: set[str] = set()

    def note(action: int, table: str | None, *_: object) -> int:
        if action == sqlite3.SQLITE_READ and table:
            found.add(table)
        return sqlite3.SQLITE_OK

    driver = tx.connection.driver_connection
    driver.set_authorizer(note)
    try:
        load()
    finally:
        driver.set_authorizer(None)
    return found & set(metadata.tables)


def test_what_is_read_of_a_machine_counts_for_it_or_for_everything(store, shop):
    """A table that a kept row comes from must count where that row is read again."""
    machine = shop.ids["machines"]["M1"]
    with store.read() as tx:
        of_one = tables_read(tx, lambda: load_machine(tx, FAR_US, machine))
        of_all = tables_read(tx, lambda: load_machines_whole(tx, FAR_US))
        shared = tables_read(
            tx, lambda: (load_shared(tx, FAR_US), CuttingData(read_cutting_rows(tx)))
        )
        wrong = tables_read(
            tx, lambda: kept_shop.implausible_rows_of(tx, CuttingData(read_cutting_rows(tx)))
        )

    # what a fact says stands in a table of its kind, or it takes another back
    assert of_all == of_one
    assert of_one & SHARED == (of_one & READ_EACH_TIME) - {"facts"} == set()
    assert {"mounts", "removals", "breakages", "corrections", "runs"} <= of_one
    for read in (shared, wrong):
        assert read & (BY_COLUMN | BY_STATION.keys()) == set()
        assert (read & READ_EACH_TIME) - {"facts"} == set()
    assert {"presets", "lots", "operations", "machines"} <= shared


def test_every_table_is_named_once_or_counts_for_everything():
    of_machine = BY_COLUMN | BY_STATION.keys()
    named = [*of_machine, *SHARED, *READ_EACH_TIME]
    unnamed = set(metadata.tables) - set(named)

    assert len(named) == len(set(named))
    assert set(named) < set(metadata.tables)
    assert unnamed - {"digest_chain", "row_digests"} == {"parts", "stations"}


def counted(floor: Floor, act: Callable[[Acts], object]) -> tuple[bool, bool, set[str]]:
    """Whether a write counted for what is shared, for everything, and for which machines."""
    names = {number: name for name, number in floor.shop.ids["machines"].items()}
    with floor.mine.read() as tx:
        before = revisions(tx)
    assert floor.write(act)
    with floor.mine.read() as tx:
        now, machines = revisions(tx), machines_changed(tx, before.last)
    assert now.last == before.last + 1
    return (
        now.shared == now.last,
        now.everything == now.last,
        {names[number] for number in machines},
    )


def test_a_write_counts_for_what_it_touched(floor):
    for before, n in (("build", 4), ("build", 1), ("count", 2)):
        assert do(floor, before, n, elsewhere=False)
    floor.now += timedelta(minutes=5)
    run = {"machine": "M2", "part": "PIN-8", "quantity": 9, "state": "planned"}

    assert counted(floor, lambda acts: count(floor, acts, 2)) == (False, False, set())
    assert counted(floor, lambda acts: insert_record(acts.tx, RUNS, run)) == (
        False, False, {"M2"},
    )  # fmt: skip
    assert counted(floor, lambda acts: give_run_away(floor, acts, 2)) == (
        False, False, {"M1", "M2"},
    )  # fmt: skip
    assert counted(floor, lambda acts: stop(floor, acts, 1)) == (False, False, {"M2"})
    assert counted(floor, lambda acts: mount(floor, acts, 5)) == (True, False, {"M1"})
    assert counted(floor, lambda acts: correct(floor, acts, 2)) == (False, False, {"M1"})
    assert counted(floor, lambda acts: stock(floor, acts, 3)) == (True, False, set())
    edits = (edit_hours, edit_constants)
    for edit_one in edits:
        assert counted(floor, lambda acts, act=edit_one: act(floor, acts, 1)) == (
            True, False, set(),
        )  # fmt: skip
    assert counted(floor, lambda acts: take_back(floor, acts, 1))[1]
    unknown = "CREATE TABLE halls (id INTEGER PRIMARY KEY)"
    with floor.mine.reshape() as tx:
        tx.exec_driver_sql(unknown)
    assert counted(floor, lambda acts: acts.tx.exec_driver_sql("INSERT INTO halls VALUES (1)"))[
        1
    ]


def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the loaders that a kept shop calls from now on."""
    called: list[str] = []
    for name in ("load_shared", "load_machine", "load_machines_whole", "CuttingData"):
        loader = getattr(kept_shop, name)

        def noted(*given: Any, loader: Any = loader, name: str = name) -> Any:
            called.append(name)
            return loader(*given)

        monkeypatch.setattr(kept_shop, name, noted)
    return called


def test_only_what_changed_is_read_again(floor, monkeypatch):
    for before, n in (("build", 4), ("mount", 5), ("count", 2)):
        assert do(floor, before, n, elsewhere=False)
    floor.compare()
    called = reads(monkeypatch)
    whole = ["CuttingData", "load_shared", "load_machines_whole"]

    for kind, n, expected in (
        ("count", 2, []),
        ("plan_run", 2, ["load_machine"]),
        ("stock", 3, ["load_shared", "CuttingData"]),
        ("remove", 5, ["load_shared", "CuttingData", "load_machine"]),
        ("take_back", 1, whole),
        ("edit_something", 3, whole),
    ):
        assert do(floor, kind, n, elsewhere=True)
        floor.compare()
        assert called == expected, kind
        called.clear()


def test_what_was_written_past_the_service_is_seen_when_it_is_quiet_or_late(floor):
    kept = KeptShop()

    def seen() -> str:
        with floor.mine.read() as tx:
            shop = read_shop(tx, floor.now, kept)
        return shop.rows.machines[shop_id].machine

    shop_id = floor.shop.ids["machines"]["M2"]
    assert seen() == "M2"
    with closing(sqlite3.connect(floor.path)) as driver:
        driver.execute("UPDATE machines SET machine = 'M9' WHERE id = ?", (shop_id,))
        driver.commit()
    assert do(floor, "count", 2, elsewhere=False)
    assert seen() == "M2"  # the write that was seen touched no machine's record
    assert seen() == "M9"  # nothing was written since
    with closing(sqlite3.connect(floor.path)) as driver:
        driver.execute("UPDATE machines SET machine = 'M8' WHERE id = ?", (shop_id,))
        driver.commit()
    floor.now += kept_shop.WHOLE_AFTER
    assert do(floor, "count", 2, elsewhere=False)
    assert seen() == "M8"


def test_a_backup_put_back_is_read_whole(floor, tmp_path):
    """Another past with as many writes: the numbers alone would not tell."""
    early = tmp_path / "early.db"
    with closing(sqlite3.connect(floor.path)) as driver:
        driver.execute("VACUUM INTO ?", (str(early),))
    assert do(floor, "stock", 3, elsewhere=False)
    floor.compare()
    floor.close()
    for suffix in ("-wal", "-shm"):
        Path(f"{floor.path}{suffix}").unlink(missing_ok=True)
    shutil.copy(early, floor.path)
    floor.mine = Store(f"sqlite:///{floor.path}")
    floor.other = Store(f"sqlite:///{floor.path}")
    floor.now += timedelta(minutes=1)
    assert do(floor, "plan_run", 2, elsewhere=False)
    assert do(floor, "count", 2, elsewhere=False)

    floor.compare()


@pytest.mark.parametrize("column", ["revision", "shared", "everything"])
@pytest.mark.parametrize("value", ["x", -5, 2**62, 1e300])
def test_a_damaged_number_of_writes_hides_no_change_and_is_sound_after_the_next(
    floor, column, value
):
    for before, n in (("build", 4), ("mount", 5), ("count", 2)):
        assert do(floor, before, n, elsewhere=False)
    plans = PlanCache(floor.mine)
    old = plans.plan(floor.now)
    floor.compare()
    with closing(sqlite3.connect(floor.path)) as driver:
        driver.execute("PRAGMA ignore_check_constraints = 1")
        driver.execute(f"UPDATE revisions SET {column} = ?", (value,))
        driver.commit()
    floor.compare()

    for kind, n in (("count", 2), ("plan_run", 2), ("stock", 3), ("remove", 5)):
        assert do(floor, kind, n, elsewhere=True)
        floor.compare()
        made = plans.plan(floor.now)
        assert made is not old
        old = made

    with floor.mine.read() as tx:
        held = tx.exec_driver_sql("SELECT revision, shared, everything FROM revisions").one()
        assert tuple(held) == revisions(tx)[:3]


def test_the_plan_of_a_process_sees_what_another_wrote(floor):
    plans = PlanCache(floor.mine)
    for kind, n in (("build", 4), ("mount", 5), ("count", 2), ("remove", 5), ("take_back", 1)):
        assert do(floor, kind, n, elsewhere=True)
        made = plans.plan(floor.now)
        with floor.mine.read() as tx:
            whole = read_shop(tx, floor.now)
        assert differences(made.shop.rows, whole.rows) == []
        assert differences(made.shop.stays, whole.stays) == []
    later = floor.now + STALE_AFTER * 2
    assert plans.plan(later) is not made


def test_a_shop_that_was_read_is_not_changed_by_what_is_made_of_it(floor):
    for kind, n in (("build", 4), ("mount", 5), ("build", 1), ("count", 2), ("count", 4)):
        assert do(floor, kind, n, elsewhere=False)
    with floor.mine.read() as tx:
        machines = view_machines(tx, floor.now)
        shop = with_tools(machines)
        expected = expect_lives(tx, refine_view(shop))
        make_swap_list(plan_shop(tx, floor.now))
        again = view_machines(tx, floor.now)
        assert differences(machines, again) == []
        assert differences(shop, with_tools(again)) == []
    for one, name in (
        (shop, "stays"), (shop.left_out, "tools"), (shop.rows, "stays"), (expected, "shop"),
    ):  # fmt: skip
        with pytest.raises(FrozenInstanceError):
            setattr(one, name, getattr(one, name))
