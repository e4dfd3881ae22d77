"""A record's row and its dict of values, both ways, by the catalogue's description.

Values are keyed by ``Column.name``: exact lengths as int [0.1 µm], money as int of hundredths,
times as minutes after midnight, instants and dates as such, a reference as the key text of
the record that it names, several as a tuple of key texts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select, Table, TableClause, case, select
from sqlalchemy import column as bare_column
from sqlalchemy import table as bare_table

from crib.clock import us_from_instant
from crib.errors import Invalid
from crib.records.catalogue import BY_NAME, CALENDAR_SPANS, OPERATIONS
from crib.records.columns import Column, Record
from crib.sentence import sentence, together, word
from crib.store.engine import Tx
from crib.store.tables import metadata

_T = TypeVar("_T")

Values = dict[str, Any]
#: Finds the id of a record by its key text: (record name, key text) -> id or None.
Lookup = Callable[[str, str], int | None]

#: Owner -> name of the owned set in its values, the owned record.
OWNED: dict[str, tuple[str, Record]] = {
    "calendars": ("spans", CALENDAR_SPANS),
    "parts": ("operations", OPERATIONS),
}

#: What a row carries besides its catalogue columns: given out, never taken in.
_GIVEN_OUT = ("code", "version", "retired_at", "on_hand")


@dataclass(frozen=True, slots=True)
class Shape:
    """How one record lies in its table, worked out once.

    Attributes:
        record: The catalogue's description.
        table: Its table.
        bare: The same with every value as the driver holds it, as ``encode`` makes them: what
            is damaged in one column of a row can be read, compared and put right.
        stored: Catalogue columns that the table itself holds, in order, with the stored name.
        many: The column of several references, if any.
        known: Every name that values may have.
        expressions: Column name -> SQL for the value that is given out.
        select: The statement that selects all rows.
        order: By key, in the order of choices where a key column is a choice.
        alive: Condition of not being retired.
    """

    record: Record
    table: Table
    bare: TableClause
    stored: tuple[tuple[Column, str], ...]
    many: Column | None
    known: frozenset[str]
    expressions: Mapping[str, ColumnElement[Any]]
    select: Select[Any]
    order: tuple[ColumnElement[Any], ...]
    alive: ColumnElement[bool]

    @property
    def names(self) -> tuple[str, ...]:
        """Stored names of all columns that are written."""
        return tuple(name for _, name in self.stored)

    @property
    def key_names(self) -> tuple[str, ...]:
        """Stored names of the key."""
        return tuple(self.record.column(name).stored for name in self.record.key)


def as_stored(of: Table) -> TableClause:
    """A table whose values are the driver's own, nothing converted."""
    return bare_table(of.name, *(bare_column(one.name) for one in of.c))


def shape_of(record: Record) -> Shape:
    """The shape of a record."""
    return _shape(record.name)


@cache
def _shape(name: str) -> Shape:
    record = BY_NAME[name]
    table = metadata.tables[name]
    joined: Any = table
    expressions: dict[str, ColumnElement[Any]] = {}
    stored: list[tuple[Column, str]] = []
    many = None
    alive: ColumnElement[bool] | None = None
    for column in record.columns:
        if column.many:
            many = column
        elif column.stored not in table.c:  # a span's zone lies with its calendar
            expressions[column.name] = metadata.tables["calendars"].c[column.name]
        else:
            stored.append((column, column.stored))
            expressions[column.name] = table.c[column.stored]
        if column.reference and not column.many:
            named = metadata.tables[column.reference]
            joined = joined.outerjoin(named, table.c[column.stored] == named.c.id)
            expressions[column.name] = named.c[key_column(column.reference)]
            if column.reference == record.owner:
                alive = named.c.retired_at.is_(None)
    for extra in _GIVEN_OUT:
        if extra in table.c:
            expressions[extra] = table.c[extra]
    statement = select(
        table.c.id, *(value.label(label) for label, value in expressions.items())
    ).select_from(joined)
    return Shape(
        record=record,
        table=table,
        bare=as_stored(table),
        stored=tuple(stored),
        many=many,
        known=frozenset(column.name for column in record.columns)
        | {"id", *_GIVEN_OUT}
        | ({OWNED[name][0]} if name in OWNED else set()),
        expressions=expressions,
        select=statement,
        order=tuple(_order(record.column(key), expressions[key]) for key in record.key),
        alive=table.c.retired_at.is_(None) if alive is None else alive,
    )


def _order(column: Column, value: ColumnElement[Any]) -> ColumnElement[Any]:
    if column.kind != "choice":
        return value
    return case({choice: place for place, choice in enumerate(column.choices)}, value=value)


def key_column(name: str) -> str:
    """The one column by whose text others name a record."""
    return BY_NAME[name].key[0]


def noun_and_key(record: Record, values: Mapping[str, object]) -> str:
    """What a sentence calls one record: ``station 'M1/T04'``."""
    key = "/".join(
        "-" if values.get(name) is None else str(values[name]) for name in record.key
    )
    return f"{record.noun} '{key}'"


def check_names(shape: Shape, values: Mapping[str, object]) -> None:
    """Refuse a value that the record has no column for."""
    if values.keys() <= shape.known:
        return
    unknown = sorted(set(values) - shape.known)
    raise Invalid(
        sentence(
            "A {noun} has no {unknown}.",
            noun=word(shape.record.noun),
            unknown=together(", ", unknown),
        ),
        errors=[{"field": name, "detail": sentence("is not known here")} for name in unknown],
    )


def encode(
    shape: Shape, values: Mapping[str, Any], lookup: Lookup, old: Sequence[Any] | None = None
) -> tuple[Any, ...]:
    """Values as the driver stores them, in the order of ``shape.names``.

    Args:
        shape: Shape of the record.
        values: What was given; a value left out stays as in ``old``, or takes its default.
        lookup: Finds ids by key text.
        old: The stored row, in the same order.

    Raises:
        Invalid: A required value is missing, or a reference names nothing.
    """
    row: list[Any] = []
    for place, (column, _) in enumerate(shape.stored):
        if old is not None and column.name not in values:
            row.append(old[place])
            continue
        row.append(encode_value(column, values.get(column.name), lookup))
    return tuple(row)


def encode_value(column: Column, value: object, lookup: Lookup) -> object:
    """One value as the driver stores it; None takes the default.

    Raises:
        Invalid: It is missing, or not what the column takes.
    """
    if value is None:
        value = column.default
    if value is None:
        if column.required:
            raise Invalid(
                sentence("{name} is missing.", name=column.name),
                errors=[{"field": column.name, "detail": sentence("is required")}],
            )
        return None
    if column.reference:
        return find_reference(column, value, lookup)
    return _ENCODERS[column.kind](value)


def find_reference(column: Column, value: object, lookup: Lookup) -> int:
    """Id of the record that a reference names.

    Raises:
        Invalid: There is none; the error names the field.
    """
    reference = column.reference or ""
    found = lookup(reference, str(value))
    if found is None:
        detail = sentence(
            "there is no {noun} '{value}'", noun=word(BY_NAME[reference].noun), value=value
        )
        raise Invalid(
            together("", (column.name, ": ", detail, ".")),
            errors=[{"field": column.name, "detail": detail}],
        )
    return found


def _whole(value: object) -> int:
    if type(value) is not int:
        raise TypeError(f"{value!r} is not an exact integer")
    return value


def _instant(value: datetime) -> int:
    return us_from_instant(value)


def _date(value: date) -> str:
    return value.isoformat()


_ENCODERS: dict[str, Callable[[Any], Any]] = {
    "text": str,
    "lines": str,
    "choice": str,
    "local": str,
    "integer": _whole,
    "time": _whole,
    "length": _whole,
    "money": _whole,
    "number": float,
    "yes_no": int,
    "instant": _instant,
    "date": _date,
}


def lookup_one_by_one(tx: Tx) -> Lookup:
    """Lookups by a query each, for single writes."""

    def lookup(name: str, text: str) -> int | None:
        found = tx.exec_driver_sql(
            f"SELECT id FROM {name} WHERE {key_column(name)} = ?"  # noqa: S608 - our own names
            " AND retired_at IS NULL",
            (text,),
        ).scalar()
        return None if found is None else int(found)

    return lookup


def referred_ids(
    tx: Tx, record: Record, rows: Sequence[Mapping[str, Any]]
) -> dict[str, dict[str, int]]:
    """Ids of everything that rows refer to: record name -> key text -> id."""
    ids: dict[str, dict[str, int]] = {}
    for column in record.columns:
        if not column.reference:
            continue
        texts: set[str] = set()
        for row in rows:
            value = row.get(column.name)
            if value is not None:
                texts.update(value if column.many else (value,))
        found = ids.setdefault(column.reference, {})
        key = key_column(column.reference)
        for part in _parts(sorted(texts)):
            found.update(
                (text, number)
                for text, number in tx.exec_driver_sql(
                    f"SELECT {key}, id FROM {column.reference}"  # noqa: S608 - our own names
                    f" WHERE {key} IN ({', '.join('?' * len(part))}) AND retired_at IS NULL",
                    tuple(part),
                )
            )
    return ids


def many_ids(tx: Tx, ids: Sequence[int]) -> dict[int, tuple[int, ...]]:
    """Alternatives of tool specs: spec id -> item ids in order."""
    found: dict[int, list[int]] = {}
    for part in _parts(ids):
        marks = ", ".join("?" * len(part))
        for owner, item in tx.exec_driver_sql(
            "SELECT tool_spec_id, cutting_item_id FROM tool_spec_items"  # noqa: S608 - marks only
            f" WHERE tool_spec_id IN ({marks}) ORDER BY tool_spec_id, position",
            tuple(part),
        ):
            found.setdefault(owner, []).append(item)
    return {owner: tuple(items) for owner, items in found.items()}


def many_texts(tx: Tx, ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """Alternatives of tool specs: spec id -> item names in order."""
    by_owner = many_ids(tx, ids)
    wanted = sorted({item for items in by_owner.values() for item in items})
    names: dict[int, str] = {}
    for part in _parts(wanted):
        marks = ", ".join("?" * len(part))
        names.update(
            (number, name)
            for number, name in tx.exec_driver_sql(
                f"SELECT id, cutting_item FROM cutting_items WHERE id IN ({marks})",  # noqa: S608
                tuple(part),
            )
        )
    return {owner: tuple(names[item] for item in items) for owner, items in by_owner.items()}


def _parts(wanted: Sequence[_T], size: int = 10_000) -> Iterable[Sequence[_T]]:
    return (wanted[start : start + size] for start in range(0, len(wanted), size))
