"""Rows of a query as named tuples, held to the names of their columns."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, NamedTuple, Protocol, TypeVar, cast

from sqlalchemy import CursorResult, RowMapping

_Row = TypeVar("_Row", bound=NamedTuple)
_Filled = TypeVar("_Filled")


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


class _Named(Protocol):
    """A row that knows the names of its columns."""

    @property
    def _mapping(self) -> RowMapping: ...


def named(kind: type[_Filled], row: _Named) -> _Filled:
    """One row of a query as a row of a kind: each field takes the column of its name.

    Args:
        kind: A named tuple or dataclass; its ``id`` may come from a column ``fact_id``.
        row: The row; its other columns are not looked at.

    Raises:
        TypeError: The query has no column of a field's name.
    """
    values, filled = row._mapping, cast(Hashable, kind)
    try:
        return kind(**{field: values[_column(field, values)] for field in _fields_of(filled)})
    except KeyError as missing:
        raise TypeError(f"no column {missing} fills a row of {kind.__name__}") from missing


def _column(field: str, values: RowMapping) -> str:
    return "fact_id" if field == "id" and "id" not in values else field


@cache
def _fields_of(kind: Any) -> tuple[str, ...]:
    return tuple(one.name for one in fields(kind)) if is_dataclass(kind) else kind._fields


def refuse_other_columns(fields: Sequence[str], columns: Sequence[str]) -> None:
    """Raise TypeError where columns are not the fields that they would fill, in their order."""
    if list(fields) != list(columns):
        raise TypeError(f"columns {', '.join(columns)} do not fill {', '.join(fields)}")
