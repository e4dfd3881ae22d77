"""Any record of the catalogue: listed, read, created, changed, retired, iterated.

Values are dicts as ``crib.store.record_rows`` describes; rows that are given out also hold
``id`` and, where the record has them, ``code``, ``version``, ``retired_at``, ``on_hand``
(lots), ``block_template`` (machines), ``spans`` (calendars), ``operations`` (parts).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, select
from sqlalchemy.exc import IntegrityError

from crib.errors import ChangedMeanwhile, Conflict, NoneLeft, NotKnown
from crib.records.columns import Record
from crib.store.bulk import Upserted, bulk_upsert
from crib.store.code_numbers import next_code, next_codes
from crib.store.engine import Tx, refusal_from
from crib.store.record_rows import (
    OWNED,
    Shape,
    Values,
    check_names,
    encode,
    find_reference,
    key_column,
    lookup_one_by_one,
    many_ids,
    many_texts,
    said,
    shape_of,
)
from crib.store.retire import retire_record
from crib.store.tables import metadata, tool_spec_items

__all__ = [
    "Upserted",
    "bulk_upsert",
    "count_records",
    "get_record",
    "insert_record",
    "iterate_records",
    "list_records",
    "next_code",
    "next_codes",
    "replace_owned",
    "retire_record",
    "update_record",
]

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
    """Records by ascending id.

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
    statement = _filtered(shape, shape.select, filters, include_retired)
    statement = statement.where(shape.table.c.id > after_id).order_by(shape.table.c.id)
    if limit is not None:
        statement = statement.limit(limit)
    rows = [dict(row) for row in tx.execute(statement).mappings()]
    return _completed(tx, shape, rows)


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
    """
    shape = shape_of(record)
    if isinstance(key, int):
        wanted: dict[str, object] = {"id": key}
        name = f"{record.noun} {key}"
    else:
        parts = (key,) if isinstance(key, str) else tuple(key)
        wanted = dict(zip(record.key, parts, strict=True))
        name = said(record, wanted)
    statement = _filtered(shape, shape.select, wanted, include_retired=True)
    row = tx.execute(statement).mappings().first()
    if row is None:
        raise NotKnown(f"There is no {name} here.", facts={"record": record.name})
    return _completed(tx, shape, [dict(row)])[0]


def iterate_records(tx: Tx, record: Record) -> Iterator[Values]:
    """All records that are not retired, ordered by key, read in chunks (for exports)."""
    shape = shape_of(record)
    statement = shape.select.where(shape.alive).order_by(*shape.order, shape.table.c.id)
    result = tx.execute(statement.execution_options(yield_per=_CHUNK)).mappings()
    for part in result.partitions(_CHUNK):
        yield from _completed(tx, shape, [dict(row) for row in part])


def insert_record(tx: Tx, record: Record, values: Mapping[str, Any]) -> int:
    """Create a record and give it its code.

    Args:
        tx: A write transaction.
        record: Which record.
        values: Its values; an owned set under its name (``operations``, ``spans``).

    Returns:
        Its id.

    Raises:
        Invalid: A required value is missing, or a reference names nothing.
        Conflict: There is one of that key already.
    """
    shape = shape_of(record)
    check_names(shape, values)
    row = dict(zip(shape.names, encode(shape, values, lookup_one_by_one(tx)), strict=True))
    if record.code_kind:
        row["code"] = next_code(tx, record.code_kind)
    if record.name == "lots":
        row["on_hand"] = row["quantity"]
    try:
        number = int(
            tx.exec_driver_sql(
                f"INSERT INTO {record.name} ({', '.join(row)})"  # noqa: S608 - our own names
                f" VALUES ({', '.join('?' * len(row))}) RETURNING id",
                tuple(row.values()),
            ).scalar_one()
        )
    except IntegrityError as problem:
        raise _explained(record, values, problem) from problem
    if shape.many:
        _write_many(tx, shape, number, values.get(shape.many.name) or ())
    if record.name in OWNED:
        name, owned = OWNED[record.name]
        _replace_rows(tx, owned, number, values.get(name) or ())
    return number


def update_record(
    tx: Tx,
    record: Record,
    record_id: int,
    values: Mapping[str, Any],
    expected_version: int | None = None,
) -> int:
    """Change the values that are given; the rest stays.

    Args:
        tx: A write transaction.
        record: Which record.
        record_id: Its id.
        values: What changes; an owned set is replaced as a whole.
        expected_version: Version that the change was made on, None to take any.

    Returns:
        The version now; the same as before where nothing changed.

    Raises:
        NotKnown: There is none of that id.
        ChangedMeanwhile: It has another version by now.
        Invalid: A required value was emptied, or a reference names nothing.
        Conflict: The key belongs to another one.
        NoneLeft: A lot's quantity falls below what was taken from it.
    """
    shape = shape_of(record)
    check_names(shape, values)
    version = _check_version(tx, record, record_id, expected_version)
    old = tuple(
        tx.exec_driver_sql(
            f"SELECT {', '.join(shape.names)} FROM {record.name}"  # noqa: S608 - our own names
            " WHERE id = ?",
            (record_id,),
        ).one()
    )
    new = encode(shape, values, lookup_one_by_one(tx), old)
    changed = new != old
    if record.name == "lots" and changed:
        _shift_on_hand(tx, record_id, dict(zip(shape.names, new, strict=True)))
    if changed:
        try:
            tx.exec_driver_sql(
                f"UPDATE {record.name} SET"  # noqa: S608 - our own names
                f" {', '.join(f'{name} = ?' for name in shape.names)} WHERE id = ?",
                (*new, record_id),
            )
        except IntegrityError as problem:
            raise _explained(record, values, problem) from problem
    if shape.many and shape.many.name in values:
        changed |= _write_many(tx, shape, record_id, values[shape.many.name] or ())
    if record.name in OWNED and OWNED[record.name][0] in values:
        name, owned = OWNED[record.name]
        changed |= _replace_rows(tx, owned, record_id, values[name] or ())
    if not changed or record.owner:
        return version
    return _bump(tx, record.name, record_id)


def replace_owned(
    tx: Tx, record: Record, owner_id: int, rows: Iterable[Mapping[str, Any]]
) -> bool:
    """Make ``rows`` the whole owned set of one owner.

    Args:
        tx: A write transaction.
        record: The owned record (operations, calendar_spans) or its owner.
        owner_id: Id of the owner, whose version counts up where the set changed.
        rows: The set's values; the owner's own name may be left out.

    Returns:
        Whether anything changed.
    """
    owned = record if record.owner else OWNED[record.name][1]
    changed = _replace_rows(tx, owned, owner_id, rows)
    if changed and owned.owner:
        _bump(tx, owned.owner, owner_id)
    return changed


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
    if len(ids) < _CHUNK:
        statement = statement.where(link.in_(ids))
    sets: dict[int, list[Values]] = {}
    held = [column.name for column, _ in shape.stored if column.reference != owned.owner]
    for row in tx.execute(statement).mappings():
        sets.setdefault(row["owner_id"], []).append({name: row[name] for name in held})
    return sets


def _check_version(tx: Tx, record: Record, record_id: int, expected: int | None) -> int:
    version = "1" if record.owner else "version"
    found = tx.exec_driver_sql(
        f"SELECT {version} FROM {record.name} WHERE id = ?",  # noqa: S608 - our own names
        (record_id,),
    ).scalar()
    if found is None:
        raise NotKnown(f"There is no {record.noun} {record_id} here.")
    if expected is not None and int(found) != expected:
        raise ChangedMeanwhile(
            f"Somebody else changed this {record.noun} since you read it: read it again.",
            facts={"expected_version": expected, "version": int(found)},
        )
    return int(found)


def _bump(tx: Tx, table: str, record_id: int) -> int:
    return int(
        tx.exec_driver_sql(
            f"UPDATE {table} SET version = version + 1"  # noqa: S608 - our own names
            " WHERE id = ? RETURNING version",
            (record_id,),
        ).scalar_one()
    )


def _shift_on_hand(tx: Tx, lot_id: int, new: Mapping[str, Any]) -> None:
    quantity, on_hand = tx.exec_driver_sql(
        "SELECT quantity, on_hand FROM lots WHERE id = ?", (lot_id,)
    ).one()
    left = on_hand + new["quantity"] - quantity
    if left < 0:
        raise NoneLeft(
            f"{quantity - on_hand} were taken from lot '{new['lot']}' already: its quantity "
            f"cannot be {new['quantity']}.",
            errors=[{"field": "quantity", "detail": f"is below {quantity - on_hand}"}],
        )
    tx.exec_driver_sql("UPDATE lots SET on_hand = ? WHERE id = ?", (left, lot_id))


def _explained(
    record: Record, values: Mapping[str, object], problem: IntegrityError
) -> Exception:
    refusal = refusal_from(problem)
    if type(refusal) is Conflict and "running" not in refusal.sentence:
        return Conflict(
            f"There is a {said(record, values)} already (perhaps a retired one).",
            errors=[{"field": name, "detail": "is taken"} for name in record.key],
        )
    return refusal


def _write_many(tx: Tx, shape: Shape, number: int, texts: Iterable[str]) -> bool:
    lookup = lookup_one_by_one(tx)
    column = shape.many
    if column is None:
        return False
    new = tuple(find_reference(column, text, lookup) for text in texts)
    if new == many_ids(tx, [number]).get(number, ()):
        return False
    tx.exec_driver_sql("DELETE FROM tool_spec_items WHERE tool_spec_id = ?", (number,))
    if new:
        tx.exec_driver_sql(
            "INSERT INTO tool_spec_items (tool_spec_id, position, cutting_item_id)"
            " VALUES (?, ?, ?)",
            [(number, place, item) for place, item in enumerate(new)],
        )
    return True


def _replace_rows(
    tx: Tx, owned: Record, owner_id: int, rows: Iterable[Mapping[str, Any]]
) -> bool:
    shape = shape_of(owned)
    lookup = lookup_one_by_one(tx)

    def with_owner(name: str, text: str) -> int | None:
        return owner_id if name == owned.owner else lookup(name, text)

    owner_key = key_column(owned.owner or "")
    new = []
    for row in rows:
        check_names(shape, row)
        new.append(encode(shape, {**row, owner_key: "the owner"}, with_owner))
    names = ", ".join(shape.names)
    old = {
        tuple(row)
        for row in tx.exec_driver_sql(
            f"SELECT {names} FROM {owned.name} WHERE {owner_key}_id = ?",  # noqa: S608
            (owner_id,),
        )
    }
    if len(new) == len(old) and set(new) == old:
        return False
    tx.exec_driver_sql(
        f"DELETE FROM {owned.name} WHERE {owner_key}_id = ?",  # noqa: S608 - our own names
        (owner_id,),
    )
    if new:
        try:
            tx.exec_driver_sql(
                f"INSERT INTO {owned.name} ({names})"  # noqa: S608 - our own names
                f" VALUES ({', '.join('?' * len(shape.names))})",
                new,
            )
        except IntegrityError as problem:
            key = ", ".join(name for name in owned.key if name != owner_key)
            raise Conflict(
                f"Two rows of the same {key}: each {owned.noun} needs its own.",
                errors=[{"field": OWNED[owned.owner or ""][0], "detail": f"{key} twice"}],
            ) from problem
    return True
