"""Whatever one column of one row holds, every other row is shown: no list and no page fails.

Each column is damaged for itself in a copy of the shop, past every check. A row that others are
found by (its own number, or the number of the record that it belongs to) is left out: there
is nothing left to show then. Run with CRIB_DAMAGED_COLUMNS=1000 to walk through all of them.
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from api.application import attach_site
from api.settings import Settings
from crib.store.engine import Store

COLUMNS = int(os.environ.get("CRIB_DAMAGED_COLUMNS", "4"))
SEED = int(os.environ.get("CRIB_DAMAGED_SEED", "1"))
VALUES = (2**62, -5, "x", 1e300)
#: Lists of records and facts.
LISTS = (
    "assemblies", "presets", "mounts", "removals", "corrections", "stock-moves", "gauge-checks",
    "counts", "refused-counts", "audit", "people", "calendars", "closures", "machines",
    "stations", "cutting-items", "holder-types", "holders", "lots", "tool-specs", "parts",
    "tool-life", "runs", "gauges",
)  # fmt: skip
PAGES = ("/shift/counts-aside", "/shift/questions")
TABLES = (
    "runs",
    "gauges",
    "cutting_items",
    "holder_types",
    "parts",
    "operations",
    "tool_life",
    "lots",
    "closures",
    "presets",
    "mounts",
    "removals",
    "corrections",
    "stock_moves",
    "gauge_checks",
    "count_batches",
)


def columns(path: Path) -> list[tuple[str, str]]:
    """Every column that names no other row, by table; tables without rows are left out."""
    found = []
    with closing(sqlite3.connect(path)) as file:
        for table in TABLES:
            if not file.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone():
                continue
            links = {row[3] for row in file.execute(f"PRAGMA foreign_key_list({table})")}
            for row in file.execute(f"PRAGMA table_info({table})").fetchall():
                if row[1] not in links and not row[5]:
                    found.append((table, row[1]))
    return found


def damage(path: Path, table: str, column: str, value: object) -> None:
    """Write a value into the last row of a table."""
    with closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.execute("PRAGMA ignore_check_constraints = 1")
        triggers = file.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
        )
        for (name,) in triggers.fetchall():
            file.execute(f"DROP TRIGGER {name}")
        last = f"(SELECT max(rowid) FROM {table})"
        file.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = {last}", (value,))


def test_no_list_fails_for_one_column_of_one_row(busy, store, clock, tmp_path):
    with closing(sqlite3.connect(store.path)) as file:
        file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    every = [(*place, value) for place in columns(store.path) for value in VALUES]
    assert len(every) > 400
    drawn = random.Random(SEED).sample(every, min(COLUMNS, len(every)))  # noqa: S311
    failed: list[Any] = []
    for number, (table, column, value) in enumerate(drawn):
        path = tmp_path / f"{number}.db"
        shutil.copy(store.path, path)
        damage(path, table, column, value)
        copy = Store(f"sqlite:///{path}")
        attach_site(busy.client.application, Settings(copy.url), copy, clock)
        for address in (*(f"/v1/{name}?limit=1000" for name in LISTS), *PAGES):
            if busy.client.get(address).status_code != 200:
                failed.append((table, column, value, address))
        copy.close()
    assert failed == []
