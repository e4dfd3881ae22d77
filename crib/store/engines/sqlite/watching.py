"""Temporary triggers of one connection that call Python for every row a transaction touches."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Sequence
from typing import Any

from crib.store.engines.interface import Columns, Driver


class Watch:
    """What one connection watches.

    Args:
        driver: The connection; it takes the functions that the triggers call.
    """

    def __init__(self, driver: Driver) -> None:
        if not isinstance(driver, sqlite3.Connection):
            raise TypeError(driver)
        self._driver = driver
        self._triggers: list[str] = []

    def shape(self) -> int:
        """A number that changes with the shape of the tables."""
        return int(self._driver.execute("PRAGMA main.schema_version").fetchone()[0])

    def refused(self, tables: Collection[str]) -> set[tuple[str, str]]:
        """Tables among these, and verbs, that the database itself refuses: nothing to watch."""
        query = "SELECT name FROM main.sqlite_master WHERE type = 'trigger'"
        there = {name for (name,) in self._driver.execute(query)}
        return {
            (table, verb)
            for table in tables
            for verb in ("UPDATE", "DELETE")
            if f"{table}_no_{verb.lower()}" in there
        }

    def call(self, name: str, call: Callable[..., Any], width: int) -> None:
        """Let statements call a function of so many arguments; ``table`` then names it."""
        self._driver.create_function(name, width, call)

    def table(
        self,
        table: str,
        columns: Sequence[str],
        calls: Sequence[tuple[str, Sequence[str]]],
        refused: Collection[tuple[str, str]],
    ) -> None:
        """Watch one table.

        Args:
            table: Its name.
            columns: An update of none of these goes unnoticed.
            calls: Functions to call, each with the columns of a touched row that it gets.
            refused: Tables and verbs that need no watching.
        """
        names = ", ".join(f'"{name}"' for name in columns)
        for verb, of, rows in (
            ("INSERT", "", ("NEW",)),
            ("DELETE", "", ("OLD",)),
            ("UPDATE", f" OF {names}", ("OLD", "NEW")),
        ):
            if (table, verb) in refused:
                continue
            body = ""
            for call, told in calls:
                for row in rows:
                    values = ", ".join(f'{row}."{column}"' for column in told)
                    body += f" SELECT {call}({values});"
            name = f"crib_{table}_{verb.lower()}"
            self._driver.execute(
                f'CREATE TEMP TRIGGER {name} AFTER {verb}{of} ON main."{table}" BEGIN{body} END'
            )
            self._triggers.append(name)

    def stop(self) -> None:
        """Watch no more."""
        for name in self._triggers:
            self._driver.execute(f"DROP TRIGGER IF EXISTS temp.{name}")
        self._triggers = []


def watch(driver: Driver) -> Watch:
    """What a connection watches: nothing yet."""
    return Watch(driver)


def columns_of_tables(driver: Driver) -> dict[str, list[Columns]]:
    """Every table's columns: name, declared type, place in the primary key (0 for none)."""
    tables: dict[str, list[Columns]] = {}
    for table, *column in driver.execute(
        "SELECT t.name, c.name, c.type, c.pk FROM main.sqlite_master AS t"
        " JOIN pragma_table_info(t.name, 'main') AS c WHERE t.type = 'table'"
        " AND t.name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
    ):
        name, kind, place = column
        tables.setdefault(str(table), []).append(Columns(str(name), str(kind), int(place)))
    return tables
