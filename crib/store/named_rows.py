"""Rows of a query as named tuples, held to the names of their columns."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from typing import Any, NamedTuple, Protocol, TypeVar, cast

from sqlalchemy import CursorResult, RowMapping

from crib.store.field_types import refuse_other_types, types_by_field

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
        Damaged: A column holds a value of another type than the field's, such as text where a
            number belongs.
    """
    made = _named(kind, row)
    refuse_other_types(made)
    return made


def named_rows(kind: type[_Filled], rows: Iterable[_Named]) -> tuple[_Filled, ...]:
    """Rows of a query as rows of a kind, whatever they hold: one must not cost the others.

    Args:
        kind: As in :func:`named`.
        rows: The rows.
    """
    return tuple(_named(kind, row) for row in rows)


def _named(kind: type[_Filled], row: _Named) -> _Filled:
    values, filled = row._mapping, cast(Hashable, kind)
    try:
        return kind(
            **{name: values[_column(name, values)] for name, _ in types_by_field(filled)}
        )
    except KeyError as missing:
        raise TypeError(f"no column {missing} fills a row of {kind.__name__}") from missing


def _column(field: str, values: RowMapping) -> str:
    return "fact_id" if field == "id" and "id" not in values else field


def refuse_other_columns(fields: Sequence[str], columns: Sequence[str]) -> None:
    """Raise TypeError where columns are not the fields that they would fill, in their order."""
    if list(fields) != list(columns):
        raise TypeError(f"columns {', '.join(columns)} do not fill {', '.join(fields)}")
