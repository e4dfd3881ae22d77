"""Words of statements and tables that SQLite has in its own way."""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any

from sqlalchemy import BigInteger, Integer, text
from sqlalchemy.types import TypeEngine

#: A whole number of 64 bits. SQLite numbers rows by itself only where the type is INTEGER.
WHOLE: TypeEngine[int] = BigInteger().with_variant(Integer, "sqlite")

#: Of a table: its rows lie in the order of their key.
BY_KEY: dict[str, Any] = {"sqlite_with_rowid": False}

#: Of a table: a number is never given twice, even after its row has gone.
NEVER_AGAIN: dict[str, Any] = {"sqlite_autoincrement": True}

#: Column by which any row can be named, whatever its key.
ROW: str = "rowid"

#: Joins two tables and reads the left one first; the planner may not turn it round.
JOIN_IN_ORDER: str = "CROSS JOIN"


def only_where(condition: str) -> dict[str, Any]:
    """Of an index: it covers these rows alone."""
    return {"sqlite_where": text(condition)}


def in_any_case(column: str) -> str:
    """Condition: the column is the next parameter, ASCII letters in either case."""
    return f"{column} = ? COLLATE NOCASE"


def same(column: str) -> str:
    """Condition: the column is the next parameter, or both are none."""
    return f"{column} IS ?"


def least(one: str, other: str) -> str:
    """The smaller of two values of a row."""
    return f"min({one}, {other})"


def greatest(one: str, other: str) -> str:
    """The greater of two values of a row."""
    return f"max({one}, {other})"


def each_of(parameter: str) -> str:
    """A table with one column ``value``: what ``as_list`` packed into one parameter."""
    return f"json_each({parameter})"


def as_list(values: Collection[Any]) -> str:
    """Any number of values as one parameter, for ``each_of``."""
    return json.dumps(list(values))
