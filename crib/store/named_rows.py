"""Rows of a query as named tuples, held to the names of their columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import CursorResult

_Row = TypeVar("_Row", bound=NamedTuple)


def rows_by_name(kind: type[_Row], found: CursorResult[Any]) -> list[_Row]:
    """Return all rows of a query as rows of a kind.

    Args:
        kind: A named tuple whose fields are the query's columns, in their order.
        found: What the query returned. It is read from the driver itself: there may be tens
            of thousands of rows, so the query's values must need no conversion.

    Raises:
        TypeError: A column bears another name than the field it would fill.
    """
    refuse_other_columns(kind._fields, list(found.keys()))
    cursor = found.cursor
    return [] if cursor is None else [kind._make(row) for row in cursor.fetchall()]


def refuse_other_columns(fields: Sequence[str], columns: Sequence[str]) -> None:
    """Raise TypeError where columns are not the fields that they would fill, in their order."""
    if list(fields) != list(columns):
        raise TypeError(f"columns {', '.join(columns)} do not fill {', '.join(fields)}")
