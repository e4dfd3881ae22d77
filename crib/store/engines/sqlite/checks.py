"""SQLite's own proof of a file: its pages, references and head; and what shape it has."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from crib.store.engines.interface import Driver
from crib.store.engines.sqlite.files import APPLICATION_ID

#: At most so many rows of one kind of damage are named.
_EXAMPLES = 5

_SHAPE = (
    "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"
    " AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
)


@contextmanager
def any_text(driver: Driver) -> Iterator[None]:
    """Text is read as it is there, also where damage made it none."""
    sqlite: Any = driver
    sqlite.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        sqlite.text_factory = str


def page_findings(driver: Driver) -> Iterator[str]:
    """What is wrong with pages, indexes and constraints, as SQLite finds it."""
    for (words,) in driver.execute(f"PRAGMA main.integrity_check({_EXAMPLES})"):
        for line in str(words).splitlines():
            if line != "ok" and not line.startswith("***"):
                yield f"The file is damaged: {_with_table(driver, line)}."


def _with_table(driver: Driver, line: str) -> str:
    """SQLite names a tree by its first page; a person knows it by its table."""
    found = re.match(r"Tree (\d+) ", line)
    if found is None:
        return line
    for kind, name in driver.execute(
        "SELECT type, name FROM sqlite_master WHERE rootpage = ?", (int(found[1]),)
    ):
        return f"{kind} {name}: {line}"
    return line


def dangling_findings(driver: Driver) -> Iterator[str]:
    """Rows that name a row that is not there."""
    rows = driver.execute("PRAGMA main.foreign_key_check").fetchmany(_EXAMPLES)
    for table, row_id, named, _ in rows:
        yield f"Row {row_id} of {table} names a row of {named} that is not there."


def dangling_rows(driver: Driver, table: str) -> Iterator[tuple[int | None, str]]:
    """Each row of a table that names a row that is not there, and the table of that."""
    for _, row_id, named, _ in driver.execute(f"PRAGMA main.foreign_key_check({table})"):
        yield row_id, named


def shape_of(driver: Driver) -> dict[tuple[str, str], str]:
    """What every table, index and trigger is made of, by kind and name.

    Spaces and quotes say nothing: releases differ in them.
    """
    return {
        (kind, name): " ".join(str(sql).replace('"', "").split())
        for kind, name, sql in driver.execute(_SHAPE)
    }


def head_findings(driver: Driver) -> Iterator[str]:
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
