"""What the digest of a row covers: which columns, under which key, in which words.

The plans follow from the database's own tables, so that a new table or column is covered
without being named here.
"""

from __future__ import annotations

import json
import sys
from array import array
from collections.abc import Iterator, Mapping, Sequence
from hashlib import blake2b
from itertools import chain, groupby
from typing import Any, NamedTuple

from crib.records.catalogue import CATALOGUE
from crib.store.engines.chosen import WATCHING, WORDS
from crib.store.engines.interface import Columns, Cursor, Driver

Row = tuple[Any, ...]
Key = tuple[Any, ...]

#: Tables without digests, and why they need none.
UNCOVERED = {
    "alembic_version": "the check compares it with the shape that this version knows",
    "digest_chain": "each link is proven by the link after it",
    "row_digests": "each digest is compared with its row",
}

#: Tables whose rows share one digest per value of a column: a batch of counts has thousands.
GROUPED = {
    "count_readings": "batch_id",
    "count_refusals": "batch_id",
    "preset_readings": "preset_id",
}

#: Where a group is too costly to find by its column alone: the columns that the table is sorted
#: by, of which all rows of a group share all but the last.
SPANS = {"count_readings": ("machine_id", "path", "at")}

#: Columns that follow from other rows and change with them; the check computes them again.
DERIVED = {"count_readings": {"life", "total"}, "lots": {"on_hand"}}

#: Stands for no value among whole numbers.
_NONE = -(2**63)

#: Bytes of a digest: a change by chance fits one time in 2**128.
SIZE = 16

#: Keys that are read at once.
_CHUNK = 500


class Plan(NamedTuple):
    """How the rows of one table are covered.

    Attributes:
        table: Its name.
        key: Columns by whose values rows share a digest; the primary key if none do.
        columns: What is covered, sorted by name.
        primary: The primary key, by which the rows of a group are ordered.
        chained: Whether every change is a link of the chain; else only the last is kept.
        whole: Whether a group holds whole numbers alone, which are digested as such.
    """

    table: str
    key: tuple[str, ...]
    columns: tuple[str, ...]
    primary: tuple[str, ...]
    chained: bool
    whole: bool = False

    def select(self, where: str = "", *, keyed: bool = True) -> str:
        """The query for rows: first the key where it is wanted, then the columns."""
        columns = [f'"{name}"' for name in self.columns]
        if self.whole:
            columns = [f"coalesce({name}, {_NONE})" for name in columns]
        names = ", ".join((*(f'"{name}"' for name in self.key if keyed), *columns))
        order = ", ".join(f'"{name}"' for name in dict.fromkeys((*self.key, *self.primary)))
        return f'SELECT {names} FROM "{self.table}" {where} ORDER BY {order}'  # noqa: S608


def make_plans(driver: Driver) -> dict[str, Plan]:
    """The plans of all tables that are there; empty where the database has no digests yet."""
    tables = WATCHING.columns_of_tables(driver)
    if "digest_chain" not in tables:
        return {}
    return {name: _plan(name, rows) for name, rows in tables.items() if name not in UNCOVERED}


def _plan(table: str, found: Sequence[Columns]) -> Plan:
    columns = {one.name: one.place for one in found}
    types = {one.name: one.kind for one in found}
    primary = tuple(sorted((name for name, place in columns.items() if place), key=columns.get))  # type: ignore[arg-type]
    key = (GROUPED[table],) if table in GROUPED else primary
    covered = sorted(set(columns) - DERIVED.get(table, set()) - (set(key) - set(primary)))
    return Plan(
        table,
        key,
        tuple(covered),
        primary,
        _is_chained(table, columns),
        table in GROUPED and all(types[name] == "INTEGER" for name in covered),
    )


def _is_chained(table: str, columns: dict[str, int]) -> bool:
    """Facts, what only grows, and records; everything else is a state."""
    from crib.store.tables import APPEND_ONLY

    return (
        table in APPEND_ONLY
        or table in GROUPED
        or "fact_id" in columns
        or any(record.name == table for record in CATALOGUE)
        or table == "tool_spec_items"
    )


def key_text(key: Key) -> str:
    """A key as the digests name it."""
    return str(key[0]) if len(key) == 1 else json.dumps(key, ensure_ascii=False)


def digest_of(plan: Plan, rows: Sequence[Row]) -> bytes:
    """The digest of the rows of one key.

    What is digested is their Python literal in ASCII, which no version writes otherwise.
    Columns without a value are left out, so that a new column changes no digest.

    Args:
        plan: The plan of their table.
        rows: Values in the order of the plan's columns, rows in the order of the primary key.
    """
    if plan.whole:
        return _digest_of_whole(plan, rows)
    values: Sequence[Any] = rows[0] if len(rows) == 1 else list(zip(*rows, strict=True))
    absent = None if len(rows) == 1 else (None,) * len(rows)
    names: Sequence[str] = plan.columns
    if absent in values:
        used = [place for place, value in enumerate(values) if value != absent]
        names, values = [names[place] for place in used], [values[place] for place in used]
    words = ascii((plan.table, len(rows), *names, *values))
    return blake2b(words.encode("ascii"), digest_size=SIZE).digest()


def _digest_of_whole(plan: Plan, rows: Sequence[Row]) -> bytes:
    """The same of many rows of whole numbers: their bytes, column by column."""
    numbers = array("q", chain.from_iterable(rows))
    if sys.byteorder == "big":
        numbers.byteswap()
    width, none = len(plan.columns), array("q", [_NONE]) * len(rows)
    told = {name: numbers[place::width] for place, name in enumerate(plan.columns)}
    told = {name: values for name, values in told.items() if values != none}
    found = blake2b(ascii((plan.table, len(rows), *told)).encode("ascii"), digest_size=SIZE)
    for values in told.values():
        found.update(values)
    return found.digest()


def chain_of(before: bytes, subject: str, key: str, digest: bytes) -> bytes:
    """What a link of the chain holds of itself and all before it."""
    words = b"%b\0%b\0%b" % (subject.encode(), key.encode(errors="surrogateescape"), digest)
    return blake2b(before + words, digest_size=SIZE).digest()


def all_digests(driver: Driver, plan: Plan) -> Iterator[tuple[Key, bytes]]:
    """The key and digest of everything in a table."""
    return _digests(plan, driver.execute(plan.select()))


def digests_of(driver: Driver, plan: Plan, keys: Sequence[Key]) -> Iterator[tuple[Key, bytes]]:
    """The key and digest of those keys of a table that are there."""
    where = " AND ".join(f'"{name}" = ?' for name in plan.key)
    if len(plan.key) > 1 or len(keys) < 4:
        query = plan.select(f"WHERE {where}", keyed=False)
        for key in keys:
            if rows := driver.execute(query, key).fetchall():
                yield key, digest_of(plan, rows)
        return
    where = f'WHERE "{plan.key[0]}" IN (SELECT value FROM {WORDS.each_of("?")})'  # noqa: S608
    for start in range(0, len(keys), _CHUNK):
        part = WORDS.as_list([key[0] for key in keys[start : start + _CHUNK]])
        yield from _digests(plan, driver.execute(plan.select(where), (part,)))


def digests_within(
    driver: Driver, plan: Plan, spans: Mapping[Any, tuple[Any, ...]]
) -> Iterator[tuple[Key, bytes]]:
    """The key and digest of groups by where their rows lie, in a table of ``SPANS``.

    Args:
        driver: An open connection.
        plan: The plan of its table.
        spans: By group what its rows share, and the bounds of the last column.
    """
    *shared, last = SPANS[plan.table]
    where = " AND ".join(f"{name} = ?" for name in shared)
    query = plan.select(
        f'WHERE {where} AND {last} BETWEEN ? AND ? AND "{plan.key[0]}" = ?', keyed=False
    )
    for key, span in spans.items():
        if rows := driver.execute(query, (*span, key)).fetchall():
            yield (key,), digest_of(plan, rows)


def _digests(plan: Plan, rows: Cursor) -> Iterator[tuple[Key, bytes]]:
    width = len(plan.key)
    if plan.key == plan.primary:
        for row in rows:
            yield row[:width], digest_of(plan, (row[width:],))
        return
    for key, group in groupby(rows, key=lambda row: row[:width]):
        yield key, digest_of(plan, [row[width:] for row in group])
