"""Proof that the file is sound: its pages, references, shape and head."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from functools import lru_cache

from crib.store.identity import APPLICATION_ID

#: At most so many rows of one kind of damage are named.
_EXAMPLES = 5

_SHAPE = (
    "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"
    " AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
)


def page_findings(driver: sqlite3.Connection) -> Iterator[str]:
    """What is wrong with pages, indexes and constraints, as SQLite finds it."""
    for (words,) in driver.execute(f"PRAGMA main.integrity_check({_EXAMPLES})"):
        for line in str(words).splitlines():
            if line != "ok" and not line.startswith("***"):
                yield f"The file is damaged: {_with_table(driver, line)}."


def _with_table(driver: sqlite3.Connection, line: str) -> str:
    """SQLite names a tree by its first page; a person knows it by its table."""
    found = re.match(r"Tree (\d+) ", line)
    if found is None:
        return line
    for kind, name in driver.execute(
        "SELECT type, name FROM sqlite_master WHERE rootpage = ?", (int(found[1]),)
    ):
        return f"{kind} {name}: {line}"
    return line


def dangling_findings(driver: sqlite3.Connection) -> Iterator[str]:
    """Rows that name a row that is not there."""
    rows = driver.execute("PRAGMA main.foreign_key_check").fetchmany(_EXAMPLES)
    for table, row_id, named, _ in rows:
        yield f"Row {row_id} of {table} names a row of {named} that is not there."


def shape_findings(driver: sqlite3.Connection) -> Iterator[str]:
    """Tables, indexes and triggers that are not those that the migrations make."""
    present = _shape_of(driver)
    expected = _expected_shape()
    for (kind, name), words in expected.items():
        if present.get((kind, name)) != words:
            yield f"The {kind} {name} is missing or altered: restore a backup."
    for kind, name in present:
        if (kind, name) not in expected:
            yield f"The {kind} {name} is none of the service's."


@lru_cache(maxsize=1)
def _expected_shape() -> dict[tuple[str, str], str]:
    from crib.store.engine import Store, raw
    from crib.store.migrate import migrate

    made = Store("sqlite://")
    migrate(made)
    with made.read() as tx:
        shape = _shape_of(raw(tx))
    made.close()
    return shape


def _shape_of(driver: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """Statements by kind and name; spaces and quotes say nothing, releases differ in them."""
    return {
        (kind, name): " ".join(str(sql).replace('"', "").split())
        for kind, name, sql in driver.execute(_SHAPE)
    }


def head_findings(driver: sqlite3.Connection) -> Iterator[str]:
    """What the head of the file and SQLite's own table of last numbers say."""
    (ours,) = driver.execute("PRAGMA main.application_id").fetchone()
    if ours != APPLICATION_ID:
        yield f"The file's head says that it belongs to another program ({ours:#x})."
    for pragma in ("user_version", "auto_vacuum"):
        (value,) = driver.execute(f"PRAGMA main.{pragma}").fetchone()
        if value:
            yield f"The file's head has {pragma} {value}, which the service never sets."
    (greatest,) = driver.execute("SELECT coalesce(max(id), 0) FROM facts").fetchone()
    last = dict(driver.execute("SELECT name, seq FROM sqlite_sequence"))
    if last.get("facts", 0) != greatest:
        yield f"The last fact is {greatest}, but {last.get('facts', 0)} were counted."
    for name in set(last) - {"facts"}:
        yield f"Numbers are counted for {name!r}, which the service does not."
