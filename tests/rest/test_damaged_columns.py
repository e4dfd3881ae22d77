"""Whatever one column of one row holds, every other row is shown: no list and no page fails.

Each column is damaged for itself in a copy of the shop, past every check: numbers that others
are found by, numbers that name other rows, and all the rest. A few of each are drawn; run with
CRIB_DAMAGED_COLUMNS=5000 to walk through all of them.
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from api.application import attach_site
from api.settings import Settings
from crib.store.engine import Store

COLUMNS = int(os.environ.get("CRIB_DAMAGED_COLUMNS", "2"))
SEED = int(os.environ.get("CRIB_DAMAGED_SEED", "1"))
VALUES = (2**62, -5, "x", 1e300)
#: Which row is damaged: the last one of its table, or the first.
ROWS = tuple(os.environ.get("CRIB_DAMAGED_ROWS", "max,min").split(","))
#: Addresses that show no record. The last one answers by its status: 503 where a machine has
#: an address and nothing listens to it.
WITHOUT_RECORDS = (
    "/help", "/v1/docs", "/v1/openapi.json", "/problems", "/sw.js", "/v1/feeds/health",
)  # fmt: skip
#: Pages about one record: where that is the damaged one, a refusal in words is right too.
OF_ONE_RECORD = (
    "/shift/nights/M1", "/machines/M1", "/machines/M1/mount?station=T11&tool=A00006E",
    "/v1/assemblies/A00006E",
)  # fmt: skip


def columns(path: Path) -> dict[str, list[tuple[str, str]]]:
    """Every column of every table with rows: own numbers, names of other rows, all others."""
    found: dict[str, list[tuple[str, str]]] = {"number": [], "link": [], "other": []}
    with closing(sqlite3.connect(path)) as file:
        tables = file.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY 1")
        for (table,) in tables.fetchall():
            if table.startswith(("sqlite_", "alembic_")) or "digest" in table:
                continue  # what is kept of others to prove them by
            if not file.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone():
                continue
            links = {row[3] for row in file.execute(f"PRAGMA foreign_key_list({table})")}
            for row in file.execute(f"PRAGMA table_info({table})").fetchall():
                kind = "number" if row[5] else "link" if row[1] in links else "other"
                found[kind].append((table, row[1]))
    return found


def shown(client: Any) -> list[str]:
    """Every list, page and view of the whole shop; lists as long as they come."""
    found = []
    for rule in client.application.url_map.iter_rules():
        bare = str(rule)
        if rule.arguments or "GET" not in rule.methods or bare.startswith(WITHOUT_RECORDS):
            continue
        for address in (f"{bare}?limit=1000", bare):
            if client.get(address).status_code == 200:
                found.append(address)
                break
    return sorted(found)


def damage(path: Path, table: str, column: str, value: object, which: str = "max") -> bool:
    """Write a value into the last or first row of a table, past all that would refuse it.

    Returns:
        Whether it is there now; a unique index may forbid it.
    """
    with closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.execute("PRAGMA ignore_check_constraints = 1")
        triggers = file.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?",
            (table,),
        ).fetchall()
        for name, _ in triggers:
            file.execute(f"DROP TRIGGER {name}")
        told = file.execute(f"PRAGMA table_info({table})").fetchall()
        key = [row[1] for row in told if row[5]] or ["rowid"]
        order = ", ".join(f"{one} {'DESC' if which == 'max' else ''}" for one in key)
        row = f"(SELECT {', '.join(key)} FROM {table} ORDER BY {order} LIMIT 1)"
        try:
            file.execute(
                f"UPDATE {table} SET {column} = ? WHERE ({', '.join(key)}) = {row}", (value,)
            )
        except sqlite3.IntegrityError:
            return False
        finally:
            for _, statement in triggers:
                file.execute(statement)
    return True


@pytest.mark.parametrize("kind", ["number", "link", "other"])
def test_no_list_and_no_page_fails_for_one_column_of_one_row(
    busy, store, clock, tmp_path, kind
):
    with closing(sqlite3.connect(store.path)) as file:
        file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    places = columns(store.path)[kind]
    assert len(places) > {"number": 25, "link": 38, "other": 150}[kind]
    every = [(*place, value, row) for place in places for value in VALUES for row in ROWS]
    drawn = random.Random(SEED).sample(every, min(COLUMNS, len(every)))  # noqa: S311
    whole = shown(busy.client)
    assert len(whole) > 60
    failed: list[Any] = []
    for number, (table, column, value, row) in enumerate(drawn):
        path = tmp_path / f"{number}.db"
        shutil.copy(store.path, path)
        if not damage(path, table, column, value, row):
            continue
        copy = Store(f"sqlite:///{path}")
        attach_site(busy.client.application, Settings(copy.url), copy, clock)
        for address in (*whole, *OF_ONE_RECORD):
            answer = busy.client.get(address)
            right = (200, 404, 409) if address in OF_ONE_RECORD else (200,)
            if answer.status_code not in right:
                failed.append((table, column, value, row, address, answer.status_code))
            answer.get_data()
            answer.close()
        copy.close()
        path.unlink()
    assert not failed, "\n".join(map(str, failed))
