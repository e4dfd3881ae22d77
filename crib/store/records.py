"""Any record of the catalogue: listed, read, created, changed, retired, iterated.

Values are dicts as ``crib.store.record_rows`` describes; rows that are given out also hold
``id`` and, where the record has them, ``code``, ``version``, ``retired_at``, ``on_hand``
(lots), ``spans`` (calendars), ``operations`` (parts).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import delete, insert, literal, select, update
from sqlalchemy.exc import IntegrityError

from crib.errors import ChangedMeanwhile, Conflict, NoneLeft, NotKnown
from crib.records.catalogue import LOTS, MACHINES, PARTS, RUNS
from crib.records.columns import Record
from crib.sentence import sentence, word
from crib.store.bulk import Upserted, bulk_upsert
from crib.store.code_numbers import next_code, next_codes
from crib.store.constraints import refusal_from
from crib.store.engine import Tx
from crib.store.record_reads import (
    count_records,
    get_record,
    iterate_records,
    list_records,
    sound_records,
)
from crib.store.record_rows import (
    OWNED,
    Shape,
    as_stored,
    check_names,
    encode,
    find_reference,
    key_column,
    lookup_one_by_one,
    many_ids,
    noun_and_key,
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
    "sound_records",
    "update_record",
]


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
    bare = shape.bare
    try:
        number = int(tx.execute(insert(bare).values(row).returning(bare.c.id)).scalar_one())
    except IntegrityError as problem:
        raise _explained(tx, record, row, values, problem) from problem
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
    bare = shape.bare
    columns = [bare.c[name] for name in shape.names]
    old = tuple(tx.execute(select(*columns).where(bare.c.id == record_id)).one())
    new = encode(shape, values, lookup_one_by_one(tx), old)
    changed = new != old
    row = dict(zip(shape.names, new, strict=True))
    if record.name == "lots" and changed:
        _shift_on_hand(tx, record_id, row)
    if changed:
        try:
            tx.execute(update(bare).where(bare.c.id == record_id).values(row))
        except IntegrityError as problem:
            raise _explained(tx, record, row, values, problem) from problem
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


def _check_version(tx: Tx, record: Record, record_id: int, expected: int | None) -> int:
    bare = shape_of(record).bare
    version = literal(1) if record.owner else bare.c.version
    found = tx.execute(select(version).where(bare.c.id == record_id)).scalar()
    if found is None:
        raise NotKnown(
            sentence(
                "There is no {noun} {record_id} here.",
                noun=word(record.noun),
                record_id=record_id,
            )
        )
    if expected is not None and int(found) != expected:
        raise ChangedMeanwhile(
            sentence(
                "Somebody else changed this {noun} since you read it: read it again.",
                noun=word(record.noun),
            ),
            facts={"expected_version": expected, "version": int(found)},
        )
    return int(found)


def _bump(tx: Tx, table: str, record_id: int) -> int:
    bare = as_stored(metadata.tables[table])
    one_more = update(bare).where(bare.c.id == record_id).values(version=bare.c.version + 1)
    return int(tx.execute(one_more.returning(bare.c.version)).scalar_one())


def _shift_on_hand(tx: Tx, lot_id: int, new: Mapping[str, Any]) -> None:
    lots = shape_of(LOTS).bare
    had = tx.execute(select(lots.c.quantity, lots.c.on_hand).where(lots.c.id == lot_id)).one()
    taken = had.quantity - had.on_hand
    left = new["quantity"] - taken
    if left < 0:
        raise NoneLeft(
            sentence(
                "{quantity} were taken from lot '{lot}' already: its quantity cannot be "
                "{quantity2}.",
                quantity=taken,
                lot=new["lot"],
                quantity2=new["quantity"],
            ),
            errors=[
                {
                    "field": "quantity",
                    "detail": sentence("is below {quantity}", quantity=taken),
                }
            ],
        )
    tx.execute(update(lots).where(lots.c.id == lot_id).values(on_hand=left))


def _explained(
    tx: Tx,
    record: Record,
    row: Mapping[str, Any],
    values: Mapping[str, object],
    problem: IntegrityError,
) -> Exception:
    refusal = refusal_from(problem)
    if type(refusal) is not Conflict or "running" in refusal.sentence:
        return refusal
    if record is RUNS:
        return _run_planned_already(tx, row)
    return Conflict(
        sentence(
            "There is a {said} already (perhaps a retired one).",
            said=noun_and_key(record, values),
        ),
        errors=[{"field": name, "detail": sentence("is taken")} for name in record.key],
    )


def _run_planned_already(tx: Tx, row: Mapping[str, Any]) -> Conflict:
    """A repeat order is a run of its own once it has a start; else it is the same row again."""
    runs, machines, parts = (shape_of(one).bare for one in (RUNS, MACHINES, PARTS))
    same = tx.execute(
        select(runs.c.id, runs.c.quantity, machines.c.machine, parts.c.part)
        .join(machines, machines.c.id == runs.c.machine_id)
        .join(parts, parts.c.id == runs.c.part_id)
        .where(
            runs.c.machine_id == row["machine_id"],
            runs.c.part_id == row["part_id"],
            runs.c.start_at.is_not_distinct_from(row["start_at"]),
        )
    ).one()
    number, quantity, machine, part = same.id, same.quantity, same.machine, same.part
    text = (
        sentence(
            "{machine} has run {number} of {part} ({quantity} parts) without start_at "
            "already. Give the new one a start_at, or raise the quantity of run "
            "{number}.",
            machine=machine,
            number=number,
            part=part,
            quantity=quantity,
        )
        if row["start_at"] is None
        else sentence(
            "{machine} has run {number} of {part} ({quantity} parts) with the same "
            "start_at already. Give the new one another start_at, or raise the quantity "
            "of run {number}.",
            machine=machine,
            number=number,
            part=part,
            quantity=quantity,
        )
    )
    return Conflict(
        text,
        errors=[
            {"field": "start_at", "detail": sentence("is taken")},
            {
                "field": "quantity",
                "detail": sentence(
                    "is {quantity} in run {number}", quantity=quantity, number=number
                ),
            },
        ],
    )


def _write_many(tx: Tx, shape: Shape, number: int, texts: Iterable[str]) -> bool:
    lookup = lookup_one_by_one(tx)
    column = shape.many
    if column is None:
        return False
    new = tuple(find_reference(column, text, lookup) for text in texts)
    if new == many_ids(tx, [number]).get(number, ()):
        return False
    tx.execute(delete(tool_spec_items).where(tool_spec_items.c.tool_spec_id == number))
    if new:
        tx.execute(
            insert(tool_spec_items),
            [
                {"tool_spec_id": number, "position": place, "cutting_item_id": item}
                for place, item in enumerate(new)
            ],
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
        new.append(encode(shape, {**row, owner_key: sentence("the owner")}, with_owner))
    bare = shape.bare
    of_owner = bare.c[f"{owner_key}_id"] == owner_id
    columns = [bare.c[name] for name in shape.names]
    old = {tuple(row) for row in tx.execute(select(*columns).where(of_owner))}
    if len(new) == len(old) and set(new) == old:
        return False
    tx.execute(delete(bare).where(of_owner))
    if new:
        try:
            tx.execute(insert(bare), [dict(zip(shape.names, row, strict=True)) for row in new])
        except IntegrityError as problem:
            key = ", ".join(name for name in owned.key if name != owner_key)
            raise Conflict(
                sentence(
                    "Two rows of the same {key}: each {noun} needs its own.",
                    key=key,
                    noun=word(owned.noun),
                ),
                errors=[
                    {
                        "field": OWNED[owned.owner or ""][0],
                        "detail": sentence("{key} twice", key=key),
                    }
                ],
            ) from problem
    return True
