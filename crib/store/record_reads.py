"""Any record of the catalogue given out: one, a page of them, all of them in order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, select

from crib.errors import Conflict, NotKnown
from crib.records.columns import Record
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.record_rows import (
    OWNED,
    Shape,
    Values,
    key_column,
    many_texts,
    noun_and_key,
    shape_of,
)
from crib.store.sound_rows import is_of_one_value, sound_rows
from crib.store.tables import metadata, tool_spec_items

_CHUNK = 2_000


def list_records(
    tx: Tx,
    record: Record,
    *,
    filters: Mapping[str, object] | None = None,
    after_id: int = 0,
    limit: int | None = None,
    include_retired: bool = False,
) -> list[Values]:
    """Records by ascending id; ``sound_records`` leaves out what cannot be read.

    Args:
        tx: An open transaction.
        record: Which record.
        filters: Column name -> value that it must have; a list, tuple or set of values allows
            each, None asks for an empty one. ``id`` and ``code`` filter too.
        after_id: Only those with a greater id (the last one of the page before).
        limit: How many at most; None for all.
        include_retired: Whether retired ones are listed.
    """
    shape = shape_of(record)
    statement = _page(shape, filters, after_id, limit, include_retired)
    rows = [dict(row) for row in tx.execute(statement).mappings()]
    return _completed(tx, shape, rows)


def sound_records(
    tx: Tx,
    record: Record,
    *,
    filters: Mapping[str, object] | None = None,
    after_id: int = 0,
    limit: int | None = None,
    include_retired: bool = False,
) -> tuple[list[Values], list[int]]:
    """The same records, and the ids of those among them that cannot be read."""
    shape = shape_of(record)
    statement = _page(shape, filters, after_id, limit, include_retired)
    return sound_rows(
        tx,
        statement,
        shape.table.c.id,
        lambda rows: _completed(tx, shape, [dict(row._mapping) for row in rows]),
    )


def _page(
    shape: Shape,
    filters: Mapping[str, object] | None,
    after_id: int,
    limit: int | None,
    include_retired: bool,
) -> Select[Any]:
    statement = _filtered(shape, shape.select, filters, include_retired)
    statement = statement.where(shape.table.c.id > after_id).order_by(shape.table.c.id)
    return statement if limit is None else statement.limit(limit)


def count_records(
    tx: Tx,
    record: Record,
    *,
    filters: Mapping[str, object] | None = None,
    include_retired: bool = False,
) -> int:
    """How many records ``list_records`` would find without a limit."""
    shape = shape_of(record)
    statement = shape.select.with_only_columns(func.count(), maintain_column_froms=True)
    return int(tx.execute(_filtered(shape, statement, filters, include_retired)).scalar_one())


def get_record(tx: Tx, record: Record, key: int | str | Sequence[object]) -> Values:
    """One record, retired or not.

    Args:
        tx: An open transaction.
        record: Which record.
        key: Its id (int), its key text, or its key values in the order of ``record.key``.

    Raises:
        NotKnown: There is none.
        Conflict: It is damaged.
    """
    shape = shape_of(record)
    if isinstance(key, int):
        wanted: dict[str, object] = {"id": key}
        name = f"{record.noun} {key}"
    else:
        parts = (key,) if isinstance(key, str) else tuple(key)
        wanted = dict(zip(record.key, parts, strict=True))
        name = noun_and_key(record, wanted)
    statement = _filtered(shape, shape.select, wanted, include_retired=True)
    try:
        row = tx.execute(statement).mappings().first()
        found = None if row is None else _completed(tx, shape, [dict(row)])[0]
    except Exception as fault:
        if not is_of_one_value(fault):
            raise
        raise Conflict(
            sentence("This record cannot be read. Run crib check: it names what is damaged.")
        ) from fault
    if found is None:
        raise NotKnown(
            sentence("There is no {name} here.", name=name), facts={"record": record.name}
        )
    return found


def iterate_records(tx: Tx, record: Record) -> Iterator[Values]:
    """All records that are not retired, ordered by key, read in chunks (for exports)."""
    shape = shape_of(record)
    statement = shape.select.where(shape.alive).order_by(*shape.order, shape.table.c.id)
    result = tx.execute(statement.execution_options(yield_per=_CHUNK)).mappings()
    for part in result.partitions(_CHUNK):
        yield from _completed(tx, shape, [dict(row) for row in part])


def _filtered(
    shape: Shape,
    statement: Select[Any],
    filters: Mapping[str, object] | None,
    include_retired: bool,
) -> Select[Any]:
    conditions = [_condition(shape, name, value) for name, value in (filters or {}).items()]
    if not include_retired:
        conditions.append(shape.alive)
    return statement.where(and_(True, *conditions))


def _condition(shape: Shape, name: str, value: object) -> ColumnElement[bool]:
    if shape.many and name == shape.many.name:
        items = metadata.tables["cutting_items"]
        return exists(
            select(tool_spec_items.c.position)
            .join(items, items.c.id == tool_spec_items.c.cutting_item_id)
            .where(tool_spec_items.c.tool_spec_id == shape.table.c.id)
            .where(items.c.cutting_item == value)
        )
    column = shape.table.c.id if name == "id" else shape.expressions[name]
    if isinstance(value, (list, tuple, set, frozenset)):
        return column.in_(list(value))
    return column.is_(None) if value is None else column == value


def _completed(tx: Tx, shape: Shape, rows: list[Values]) -> list[Values]:
    """Add what lies in other tables: alternatives and owned sets."""
    ids = [row["id"] for row in rows]
    if shape.many and rows:
        texts = many_texts(tx, ids)
        for row in rows:
            row[shape.many.name] = texts.get(row["id"], ())
    if shape.record.name in OWNED and rows:
        name, owned = OWNED[shape.record.name]
        sets = _owned_rows(tx, owned, ids)
        for row in rows:
            row[name] = sets.get(row["id"], [])
    return rows


def _owned_rows(tx: Tx, owned: Record, ids: list[int]) -> dict[int, list[Values]]:
    shape = shape_of(owned)
    link = shape.table.c[f"{key_column(owned.owner or '')}_id"]
    statement = shape.select.add_columns(link.label("owner_id")).order_by(*shape.order)
    statement = statement.where(link.in_(ids))
    sets: dict[int, list[Values]] = {}
    held = [column.name for column, _ in shape.stored if column.reference != owned.owner]
    for row in tx.execute(statement).mappings():
        sets.setdefault(row["owner_id"], []).append({name: row[name] for name in held})
    return sets
