"""Many rows of one record at once, as an import brings them: new, changed or the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import Any, NamedTuple

from sqlalchemy.exc import IntegrityError

from crib.errors import NoneLeft
from crib.records.catalogue import CALENDAR_SPANS, CALENDARS
from crib.records.columns import Record
from crib.store.code_numbers import next_codes
from crib.store.constraints import refusal_from
from crib.store.engine import Tx
from crib.store.engines.chosen import WORDS
from crib.store.record_rows import (
    Shape,
    check_names,
    encode,
    encode_value,
    find_reference,
    key_column,
    many_ids,
    referred_ids,
    shape_of,
)

#: Rows held in memory at a time.
CHUNK = 2_000

Row = tuple[Any, ...]


class Upserted(NamedTuple):
    """How many rows were new, changed, the same."""

    inserted: int
    updated: int
    unchanged: int


def bulk_upsert(tx: Tx, record: Record, rows: Iterable[Mapping[str, Any]]) -> Upserted:
    """Create or change rows by their key, in order; the same rows again change nothing.

    A value left out of a row stays as it is; None empties it. A retired record that comes
    again is in use again. Rows of calendars also create the calendar that they name.

    Args:
        tx: A write transaction.
        record: Which record.
        rows: Their values; read once, ``CHUNK`` at a time.

    Raises:
        Invalid: A required value is missing, or a reference names nothing.
        NoneLeft: A lot's quantity falls below what was taken from it.
    """
    shape = shape_of(record)
    work = _Bulk(tx, shape)
    part: dict[Row, Mapping[str, Any]] = {}
    for row in rows:
        check_names(shape, row)
        key = _given_key(record, row)
        # a key that comes again is compared with what its first row left
        if key in part or len(part) == CHUNK:
            work.write(list(part.values()))
            part = {}
        part[key] = row
    if part:
        work.write(list(part.values()))
    return Upserted(*work.done)


def _given_key(record: Record, row: Mapping[str, Any]) -> Row:
    return tuple(
        record.column(name).default if row.get(name) is None else row[name]
        for name in record.key
    )


class _Bulk:
    """The statements of one record and what was done with them so far."""

    def __init__(self, tx: Tx, shape: Shape) -> None:
        self.tx = tx
        self.shape = shape
        self.done = [0, 0, 0]
        record = shape.record
        self._ids: dict[str, dict[str, int]] = {}
        self._key_columns = [record.column(name) for name in record.key]
        self._owner_place = (
            shape.names.index(f"{key_column(record.owner)}_id") if record.owner else None
        )
        self._on_hand = record.name == "lots"
        # (id, retired_at, on_hand) before the values; where there is none, a plain 0
        retired = "0" if record.owner else "t.retired_at IS NOT NULL"
        on_hand = "t.on_hand" if self._on_hand else "0"
        names = ", ".join(f"t.{name}" for name in shape.names)
        self._given_out = f"t.id, {retired}, {on_hand}, {names}"
        self._statements()

    def _statements(self) -> None:
        record, names = self.shape.record, self.shape.names
        nullable = any(not column.required for column in self._key_columns)
        self._match = " AND ".join(
            f"coalesce(t.{name}, '') = wanted.k{place}"
            if nullable
            else f"t.{name} = wanted.k{place}"
            for place, name in enumerate(self.shape.key_names)
        )
        extra = ["id"]
        if record.code_kind:
            extra.append("code")
        if self._on_hand:
            extra.append("on_hand")
        self._insert = (
            f"INSERT INTO {record.name} ({', '.join((*extra, *names))})"  # noqa: S608 - our names
            f" VALUES ({', '.join('?' * (len(extra) + len(names)))})"
        )
        sets = [f"{name} = ?" for name in names]
        if not record.owner:
            sets += ["version = version + 1", "retired_at = NULL"]
        if self._on_hand:
            sets.append("on_hand = ?")
        self._update = f"UPDATE {record.name} SET {', '.join(sets)} WHERE id = ?"  # noqa: S608

    def write(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Compare one chunk with what is stored and write what differs."""
        if self.shape.record is CALENDAR_SPANS:
            self._ensure_calendars(rows)
        self._ids = referred_ids(self.tx, self.shape.record, rows)
        part = {self._key(row): row for row in rows}
        stored = self._stored(list(part))
        items_now = self._items_now(stored)
        inserts: list[Row] = []
        updates: list[Row] = []
        items: list[tuple[int, tuple[int, ...]]] = []
        owners: set[int] = set()
        fresh_id = self._fresh_id()
        for key, row in part.items():
            found = stored.get(key)
            old = None if found is None else found[3:]
            new = encode(self.shape, row, self._lookup, old)
            wanted = self._items(row, items_now, found)
            if found is None:
                number = fresh_id + len(inserts)
                inserts.append((number, *new))
            else:
                number = found[0]
                if new == old and not found[1] and wanted == items_now.get(number, ()):
                    self.done[2] += 1
                    continue
                updates.append((*new, *self._left(found, new), number))
            if self._owner_place is not None:
                owners.add(new[self._owner_place])
            if wanted != items_now.get(number, ()):
                items.append((number, wanted))
        self.done[0] += len(inserts)
        self.done[1] += len(updates)
        self._send(inserts, updates, items, owners)

    def _ensure_calendars(self, rows: Iterable[Mapping[str, Any]]) -> None:
        """Create the calendars that rows name, and give them the rows' time zone."""
        named: dict[str, dict[str, Any]] = {}
        for row in rows:
            if row.get("calendar") is not None:
                named.setdefault(row["calendar"], {}).update(
                    {name: row[name] for name in ("calendar", "time_zone") if name in row}
                )
        bulk_upsert(self.tx, CALENDARS, named.values())

    def _lookup(self, name: str, text: str) -> int | None:
        return self._ids[name].get(text)

    def _key(self, row: Mapping[str, Any]) -> Row:
        """A row's key as it is stored; '' for an empty part, as the unique index has it."""
        parts = [
            encode_value(column, row.get(column.name), self._lookup)
            for column in self._key_columns
        ]
        return tuple("" if part is None else part for part in parts)

    def _stored(self, keys: Sequence[Row]) -> dict[Row, Row]:
        width = len(self._key_columns)
        marks = f"({', '.join('?' * width)})"
        names = ", ".join(f"k{place}" for place in range(width))
        rows = self.tx.exec_driver_sql(
            f"WITH wanted ({names}) AS (VALUES {', '.join([marks] * len(keys))})"  # noqa: S608
            f" SELECT {names}, {self._given_out} FROM wanted {WORDS.JOIN_IN_ORDER}"
            f" {self.shape.record.name} AS t ON {self._match}",
            tuple(chain.from_iterable(keys)),
        )
        return {tuple(row[:width]): tuple(row[width:]) for row in rows}

    def _items_now(self, stored: Mapping[Row, Row]) -> dict[int, tuple[int, ...]]:
        if not self.shape.many:
            return {}
        return many_ids(self.tx, [row[0] for row in stored.values()])

    def _items(
        self,
        row: Mapping[str, Any],
        now: Mapping[int, tuple[int, ...]],
        found: Row | None,
    ) -> tuple[int, ...]:
        many = self.shape.many
        if many is None or (found is not None and many.name not in row):
            return now.get(found[0], ()) if found else ()
        return tuple(find_reference(many, text, self._lookup) for text in row[many.name] or ())

    def _fresh_id(self) -> int:
        largest = self.tx.exec_driver_sql(
            f"SELECT coalesce(max(id), 0) FROM {self.shape.record.name}"  # noqa: S608
        ).scalar_one()
        return int(largest) + 1

    def _left(self, found: Row, new: Row) -> Row:
        """What a changed lot has on hand: the difference of quantities is added."""
        if not self._on_hand:
            return ()
        place = self.shape.names.index("quantity")
        taken = found[3 + place] - found[2]
        if new[place] < taken:
            lot = new[self.shape.names.index("lot")]
            raise NoneLeft(
                f"{taken} were taken from lot '{lot}' already: its quantity cannot be "
                f"{new[place]}.",
                errors=[{"field": "quantity", "detail": f"is below {taken}"}],
                facts={"lot": lot},
            )
        return (new[place] - taken,)

    def _send(
        self,
        inserts: list[Row],
        updates: list[Row],
        items: list[tuple[int, tuple[int, ...]]],
        owners: set[int],
    ) -> None:
        record = self.shape.record
        try:
            if inserts:
                self.tx.exec_driver_sql(self._insert, self._with_extras(inserts))
            if updates:
                self.tx.exec_driver_sql(self._update, updates)
        except IntegrityError as problem:
            raise refusal_from(problem) from problem
        if items:  # an empty list would run the statement once, without values
            self.tx.exec_driver_sql(
                "DELETE FROM tool_spec_items WHERE tool_spec_id = ?",
                [(number,) for number, _ in items],
            )
            self.tx.exec_driver_sql(
                "INSERT INTO tool_spec_items (tool_spec_id, position, cutting_item_id)"
                " VALUES (?, ?, ?)",
                [
                    (number, place, item)
                    for number, wanted in items
                    for place, item in enumerate(wanted)
                ],
            )
        if owners:
            self.tx.exec_driver_sql(
                f"UPDATE {record.owner} SET version = version + 1 WHERE id = ?",  # noqa: S608
                [(owner,) for owner in sorted(owners)],
            )

    def _with_extras(self, inserts: list[Row]) -> list[Row]:
        """Codes and what is on hand, after the id."""
        kind = self.shape.record.code_kind
        if kind:
            codes = next_codes(self.tx, kind, len(inserts))
            inserts = [
                (row[0], code, *row[1:]) for row, code in zip(inserts, codes, strict=True)
            ]
        if self._on_hand:
            place = 2 + self.shape.names.index("quantity")
            inserts = [(*row[:2], row[place], *row[2:]) for row in inserts]
        return inserts
