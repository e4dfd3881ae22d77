"""The bounds of every number in the database, and what lies outside them.

A number that was there before its bounds stays as it is while a row's other columns change, so
that nobody is locked out of an older database; ``crib check`` names it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from crib.records.catalogue import CATALOGUE
from crib.records.columns import Column
from crib.records.measures import OF_FACTS
from crib.records.values import implausible, print_cell
from crib.store.engine import Tx
from crib.store.engines.chosen import OUTSIDE, WORDS
from crib.store.named_rows import rows_by_name

_NUMBERS = ("integer", "number", "length", "money")


def numbers_of(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    """The columns among these that hold a bounded number of their own."""
    return tuple(
        one for one in columns if one.kind in _NUMBERS and not one.reference and not one.many
    )


#: Table -> its bounded columns.
BOUNDED: dict[str, tuple[Column, ...]] = {
    record.name: columns for record in CATALOGUE if (columns := numbers_of(record.columns))
} | OF_FACTS


def implausible_numbers(tx: Tx) -> Iterator[str]:
    """Every number of a record or fact outside its bounds, a sentence each."""
    nouns = {record.name: record for record in CATALOGUE}
    for table, columns in BOUNDED.items():
        record = nouns.get(table)
        plain_key = record and not any(record.column(name).reference for name in record.key)
        key = f"{table}.{record.key[0]}" if record and plain_key else f"{table}.{WORDS.ROW}"
        for column in columns:
            name = column.stored
            rows = tx.exec_driver_sql(
                f"SELECT {key}, {name} FROM {table} WHERE {OUTSIDE.outside(column, '')} LIMIT 6"  # noqa: S608 - our own names
            ).fetchall()
            for shown, value in rows[:5]:
                noun = record.noun if record else f"row of {table}"
                told = print_cell(column, value)
                why = implausible(column, value)
                yield (
                    f"{noun[0].upper()}{noun[1:]} {shown}: {column.name} is {told}, which {why}"
                    f"{'' if str(why).endswith('?') else '.'}"
                )
            if len(rows) > 5:
                yield "… and more of the same."


def implausible_rows(tx: Tx, table: str, name: str) -> list[tuple[Any, str]]:
    """Rows of a table with a number outside its bounds, each with what is wrong in words.

    Args:
        tx: An open transaction.
        table: One of ``BOUNDED`` that is a record's.
        name: Column that stands first in each row that is given back.
    """
    columns = BOUNDED[table]
    outside = " OR ".join(f"({OUTSIDE.outside(one, '')})" for one in columns)
    names = ", ".join(one.stored for one in columns)
    found = []
    for row in tx.exec_driver_sql(f"SELECT {name}, {names} FROM {table} WHERE {outside}"):  # noqa: S608 - our own names
        told = [
            f"{one.name} is {print_cell(one, value)}, which {why}"
            for one, value in zip(columns, row[1:], strict=True)
            if (why := implausible(one, value))
        ]
        found.append((row[0], "; ".join(told)))
    return found


class LifeRow(NamedTuple):
    """What a row of tool-life constants is of: one item, or all of a material."""

    id: int
    cutting_item_id: int | None
    tool_material: str | None


def names_of_rows(tx: Tx, table: str, column: str) -> dict[int, str]:
    """What people call each row of a record's table, by id.

    Args:
        tx: An open transaction.
        table: One of ``BOUNDED`` that is a record's.
        column: Its column of the name.
    """
    rows = tx.exec_driver_sql(f"SELECT id, {column} FROM {table}")  # noqa: S608 - our own names
    return {row[0]: row[1] for row in rows}


def life_rows(tx: Tx) -> list[LifeRow]:
    """What every row of tool-life constants is of."""
    return rows_by_name(
        LifeRow, tx.exec_driver_sql("SELECT id, cutting_item_id, tool_material FROM tool_life")
    )
