"""Damage is noticed and named: flipped bytes, changed figures, rows that are gone."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy.exc import OperationalError

from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.demo.history import build
from crib.errors import Refusal
from crib.store.checking import check
from crib.store.digest_checks import digest_findings, table_findings
from crib.store.digest_plans import DERIVED, UNCOVERED, Plan, make_plans
from crib.store.engine import Store, raw
from crib.store.migrate import migrate, open_store, schema_version
from crib.store.tables import metadata

#: How many bytes are flipped; a thousand take some minutes.
FLIPS = int(os.environ.get("CRIB_DAMAGE_FLIPS", "40"))
SEED = int(os.environ.get("CRIB_DAMAGE_SEED", "1"))

#: The head of a file also counts changes and names the release that wrote it: four bytes from
#: each of these on (https://www.sqlite.org/fileformat2.html, 1.3). They state nothing.
_COUNTED = (24, 92, 96)


@pytest.fixture(scope="module")
def shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days of an invented shop."""
    path = tmp_path_factory.mktemp("damage") / "crib.db"
    store = open_store(f"sqlite:///{path}")
    build(store, present=datetime(2026, 3, 3, 9, tzinfo=UTC), seed=1, days=2)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return path


@pytest.fixture
def bare(shop_file: Path, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """A copy of the shop, open past the service, with nothing that holds a change up."""
    path = shutil.copy(shop_file, tmp_path / "crib.db")
    with closing(sqlite3.connect(path, isolation_level=None)) as driver:
        driver.execute("PRAGMA ignore_check_constraints = ON")
        for (name,) in driver.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            driver.execute(f"DROP TRIGGER {name}")
        yield driver


def check_file(path: Path) -> list[str]:
    store = Store(f"sqlite:///{path}")
    try:
        return check(store)
    finally:
        store.close()


def telling_bytes(data: bytes) -> list[int]:
    """Where a byte is that is not zero and says something.

    Between the pointers of a page and its cells lies room that nothing reads; old pointers
    may be left there.
    """
    size = int.from_bytes(data[16:18], "big")
    room: set[int] = {at + more for at in _COUNTED for more in range(4)}
    for start in range(0, len(data), size):
        head = start + (100 if start == 0 else 0)
        if data[head] not in (2, 5, 10, 13):
            continue
        cells = int.from_bytes(data[head + 3 : head + 5], "big")
        content = int.from_bytes(data[head + 5 : head + 7], "big") or 65_536
        begin = head + (12 if data[head] in (2, 5) else 8) + 2 * cells
        room.update(range(begin, start + content))
    return [at for at, byte in enumerate(data) if byte and at not in room]


def test_flipped_bytes_are_noticed_and_named(shop_file, tmp_path):
    whole = shop_file.read_bytes()
    places = telling_bytes(whole)
    chance = random.Random(SEED)  # noqa: S311 - repeats itself on purpose
    assert check_file(shutil.copy(shop_file, tmp_path / "whole.db")) == []
    missed, unnamed = [], []
    for turn in range(FLIPS):
        at, bit = chance.choice(places), 1 << chance.randrange(8)
        damaged = bytearray(whole)
        damaged[at] ^= bit
        path = tmp_path / f"{turn}.db"
        path.write_bytes(damaged)

        found = check_file(path)

        if not found:
            missed.append((at, bit))
        unnamed += [line for line in found if "Traceback" in line or not line.endswith(".")]
        path.unlink()
    assert len(missed) <= max(1, FLIPS // 100), f"{len(missed)} of {FLIPS} missed: {missed}"
    assert unnamed == []


def changed(value: object, turn: int) -> object:
    if value is None:
        return 1
    if isinstance(value, int):
        return value ^ (1 << turn)
    if isinstance(value, float):
        return value * (1 + 2**-40) if value else 1e-9
    if isinstance(value, bytes):
        return bytes((value[0] ^ 1,)) + value[1:] if value else b"?"
    return f"{value}{turn}"


def change(driver: sqlite3.Connection, plan: Plan, column: str) -> str | None:
    """Change one value of the middle row; the row's key, or None where there is no row."""
    order = ", ".join(f'"{name}"' for name in plan.primary)
    (count,) = driver.execute(f'SELECT count(*) FROM "{plan.table}"').fetchone()
    if not count:
        return None
    (value, key, *primary) = driver.execute(
        f'SELECT "{column}", "{plan.key[0]}", {order} FROM "{plan.table}"'
        f" ORDER BY {order} LIMIT 1 OFFSET {count // 2}"
    ).fetchone()
    where = " AND ".join(f'"{name}" = ?' for name in plan.primary)
    for turn in range(6, 30):
        try:
            driver.execute(
                f'UPDATE "{plan.table}" SET "{column}" = ? WHERE {where}',
                (changed(value, turn), *primary),
            )
        except sqlite3.IntegrityError:
            continue  # another row has that value
        return str(key)
    raise AssertionError(f"{plan.table}.{column} cannot be changed")


def test_every_changed_value_of_every_table_is_named(bare):
    silent, empty, walked = [], [], 0
    for plan in make_plans(bare).values():
        for column in plan.columns:
            bare.execute("BEGIN")
            key = change(bare, plan, column)
            if key is None:
                empty.append(plan.table)
            else:
                walked += 1
                found = list(table_findings(bare, plan))
                if not found or not (column in plan.key or any(key in line for line in found)):
                    silent.append((plan.table, column, found))
            bare.execute("ROLLBACK")
    assert silent == []
    assert walked > 200
    figures = {"facts", "presets", "preset_readings", "mounts", "corrections", "count_readings"}
    assert figures.isdisjoint(empty)


def test_every_table_is_covered_or_says_why_not(bare):
    plans = make_plans(bare)

    assert set(plans) | set(UNCOVERED) == set(metadata.tables) | {"alembic_version"}
    assert not set(plans) & set(UNCOVERED)
    for name, plan in plans.items():
        columns = {column.name for column in metadata.tables[name].c}
        assert columns - set(plan.columns) - set(plan.key) == DERIVED.get(name, set())


def test_a_flipped_figure_names_the_fact_and_the_tool(bare):
    (preset, code) = bare.execute(
        "SELECT p.fact_id, c.code FROM presets AS p JOIN label_codes AS c"
        " ON c.preset_id = p.fact_id WHERE c.superseded_at IS NULL"
        " AND p.lf_tenths_um IS NOT NULL"
    ).fetchone()
    bare.execute(
        "UPDATE presets SET lf_tenths_um = lf_tenths_um + 65536 WHERE fact_id = ?", (preset,)
    )

    (found,) = digest_findings(bare)

    assert found.startswith(f"Row {preset} of presets (fact {preset}, preset of 2026-")
    assert f"tool {code}" in found
    assert found.endswith("is not what was recorded: its digest does not fit.")


@pytest.mark.parametrize(
    ("statement", "finding"),
    [
        ("DELETE FROM corrections WHERE fact_id = (SELECT max(fact_id) FROM corrections)",
         "of corrections"),
        ("DELETE FROM count_readings WHERE at = (SELECT max(at) FROM count_readings)",
         "of count_readings"),
        ("DELETE FROM facts WHERE id = 7", "Row 7 of facts is gone"),
        ("INSERT INTO facts (kind, at, recorded_at) VALUES ('stop', 0, 0)", "has no digest"),
        ("DELETE FROM digest_chain WHERE id = 100", "chain of digests breaks at link 101"),
        ("DELETE FROM digest_chain", "has no digest"),
        ("UPDATE digest_chain SET digest = chained WHERE id = 100", "breaks at link 100"),
        ("UPDATE digest_chain SET key = key || '0' WHERE id = 100", "breaks at link 100"),
        ("UPDATE digest_chain SET digest = 5 WHERE id = 100", "breaks at link 100"),
        ("DELETE FROM row_digests", "has no digest"),
        ("DROP TABLE corrections", "digests of corrections, but no such table"),
    ],
)  # fmt: skip
def test_what_is_gone_or_strange_is_named(bare, statement, finding):
    bare.execute(statement)

    assert any(finding in line for line in digest_findings(bare))


@pytest.mark.parametrize(
    ("statement", "finding"),
    [
        ("CREATE TABLE notes (id INTEGER)", "table notes is none of the service's"),
        ("DROP INDEX ix_mounts_station_id", "index ix_mounts_station_id is missing"),
        ("PRAGMA application_id = 7", "belongs to another program"),
        ("PRAGMA user_version = 7", "user_version 7"),
        ("UPDATE sqlite_sequence SET seq = seq + 1", "were counted"),
    ],
)
def test_a_changed_shape_or_head_is_named(shop_file, tmp_path, statement, finding):
    path = shutil.copy(shop_file, tmp_path / "crib.db")
    with closing(sqlite3.connect(path, isolation_level=None)) as driver:
        driver.execute(statement)

    assert any(finding in line for line in check_file(path))


def test_what_is_only_in_the_log_yet_is_checked_as_it_is_read(shop_file, tmp_path):
    path = shutil.copy(shop_file, tmp_path / "crib.db")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("UPDATE machines SET name = 'another' WHERE id = 1")
        assert Path(f"{path}-wal").stat().st_size > 0
        (found,) = check_file(path)

    assert "Row 1 of machines" in found


def test_a_new_column_and_a_new_table_join_by_themselves(store, shop):
    with closing(sqlite3.connect(str(store.path), isolation_level=None)) as driver:
        driver.execute("ALTER TABLE machines ADD COLUMN hall VARCHAR")
        assert list(digest_findings(driver)) == []
    with store.reshape() as tx:
        tx.exec_driver_sql("CREATE TABLE halls (id INTEGER PRIMARY KEY, lamp VARCHAR)")
        tx.exec_driver_sql("INSERT INTO halls VALUES (1, 'on')")

    with store.write() as tx:
        tx.exec_driver_sql("INSERT INTO halls VALUES (2, 'on')")
        tx.exec_driver_sql("UPDATE machines SET hall = 'east' WHERE id = 1")

    with store.read() as tx:
        assert list(digest_findings(raw(tx))) == []
    with closing(sqlite3.connect(str(store.path), isolation_level=None)) as driver:
        driver.execute("UPDATE halls SET lamp = 'off'")
        found = list(digest_findings(driver))
    assert [line.split(" is ")[0] for line in found] == ["Row 1 of halls", "Row 2 of halls"]


def test_what_is_undone_leaves_no_digest(store, shop):
    def rename_and_fail() -> None:
        with store.write() as tx:
            tx.exec_driver_sql("UPDATE machines SET name = 'M'")
            tx.exec_driver_sql("no statement")

    with pytest.raises(OperationalError):
        rename_and_fail()
    with store.write() as tx:
        tx.exec_driver_sql("SAVEPOINT one")
        tx.exec_driver_sql("UPDATE machines SET name = 'M'")
        tx.exec_driver_sql("ROLLBACK TO one")

    assert check(store) == []


def test_a_database_of_before_gets_its_digests(store, shop):
    with store.write() as tx:
        at = shop.start + timedelta(hours=1)
        build_assembly(tx, at, BuildAssembly("TURN-OD", "TH-1", "LOT-I1", at=at))
        report_counts(tx, at, ReportCounts("M1", [CountReading(at, 7), CountReading(at, 9)]))
    migrate(store, "0013")

    migrate(store)

    assert check(store) == []
    with closing(sqlite3.connect(str(store.path), isolation_level=None)) as driver:
        driver.execute("UPDATE machines SET name = 'another' WHERE id = 1")
    (found,) = check(store)
    assert "Row 1 of machines" in found


def test_a_damaged_database_is_not_migrated(store, shop):
    with closing(sqlite3.connect(str(store.path), isolation_level=None)) as driver:
        driver.execute("UPDATE machines SET name = 'another' WHERE id = 1")

    with pytest.raises(Refusal, match="Row 1 of machines"):
        migrate(store, "0001")

    assert schema_version(store) > "0001"
