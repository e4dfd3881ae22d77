"""Rows of counter readings, in bulk: known ones around a batch, new ones, refused ones."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import text

from crib.floor.count import KnownCounts
from crib.store.engine import Tx

Ints = NDArray[np.int64]

_COLUMNS = "at, count, life, total"
_AROUND = f"""
    SELECT {_COLUMNS} FROM count_readings WHERE machine_id = ?1
      AND at >= coalesce((SELECT max(at) FROM count_readings
                          WHERE machine_id = ?1 AND at < ?2), ?2)
      AND at <= coalesce((SELECT min(at) FROM count_readings
                          WHERE machine_id = ?1 AND at > ?3), ?3)
    ORDER BY at
"""  # noqa: S608 - no value from outside
_INSERT = (
    "INSERT INTO count_readings (machine_id, at, count, life, total, run_id, batch_id)"
    " VALUES (?, ?, ?, ?, ?, ?, ?)"
)
_SHIFT_TAIL = (
    "UPDATE count_readings SET life = life + ?, total = total + ?"
    " WHERE machine_id = ? AND at > ?"
)
_RENUMBER = "UPDATE count_readings SET life = ?, total = ? WHERE machine_id = ? AND at = ?"
_INSERT_BATCH = text(
    "INSERT INTO count_batches (fact_id, machine_id, accepted, duplicates, refused)"
    " VALUES (:fact_id, :machine_id, :accepted, :duplicates, :refused)"
)
_KNOWN_REFUSALS = "SELECT at, reading, reason FROM count_refusals WHERE machine_id = ?"
_INSERT_REFUSAL = (
    "INSERT INTO count_refusals (batch_id, machine_id, at, reading, reason, detail)"
    " VALUES (?, ?, ?, ?, ?, ?)"
)


def _rows(tx: Tx, statement: str, parameters: tuple[object, ...]) -> Sequence[Any]:
    cursor = tx.exec_driver_sql(statement, parameters).cursor
    return [] if cursor is None else cursor.fetchall()  # plain tuples: numpy crawls over Rows


def known_around(tx: Tx, machine_id: int, first_us: int, last_us: int) -> KnownCounts:
    """Accepted readings from one before an instant to one after another, in order."""
    rows = _rows(tx, _AROUND, (machine_id, first_us, last_us))
    if not rows:
        return KnownCounts.none()
    table = np.array(rows, dtype=np.int64)
    return KnownCounts(table[:, 0], table[:, 1], table[:, 2], table[:, 3])


def parts_per_cycle(tx: Tx, machine_id: int) -> int:
    """Parts that one cycle of a machine makes."""
    cursor = tx.exec_driver_sql(
        "SELECT coalesce(parts_per_cycle, 1) FROM machines WHERE id = ?", (machine_id,)
    )
    return int(cursor.scalar_one())


class Ahead(NamedTuple):
    """An accepted reading that is dated ahead: its instant [µs], what it said, its run."""

    at_us: int
    said: int
    run_id: int | None


_AHEAD = (
    "SELECT r.at, r.count, r.run_id, f.kind FROM count_readings AS r"
    " JOIN facts AS f ON f.id = r.batch_id WHERE r.machine_id = ? AND r.at > ? ORDER BY r.at"
)


def accepted_ahead(tx: Tx, machine_id: int, after_us: int) -> list[Ahead] | None:
    """Accepted readings after an instant [µs]; None where a person vouches for one of them."""
    rows = _rows(tx, _AHEAD, (machine_id, after_us))
    if any(kind != "count" for *_, kind in rows):
        return None
    return [Ahead(*row[:3]) for row in rows]


def delete_ahead(tx: Tx, machine_id: int, after_us: int) -> None:
    """Take accepted readings after an instant [µs] out; each has to be kept aside by now."""
    tx.exec_driver_sql(
        "DELETE FROM count_readings WHERE machine_id = ? AND at > ?", (machine_id, after_us)
    )


class Refused(NamedTuple):
    """A reading that is kept aside: what came, why, and a sentence."""

    at_us: int | None
    reading: dict[str, object]
    reason: str
    detail: str


def new_refusals(tx: Tx, machine_id: int, refused: Sequence[Refused]) -> list[Refused]:
    """Those of the refused readings that were not kept aside before for the same reason."""
    if not refused:
        return []
    known = {tuple(row) for row in _rows(tx, _KNOWN_REFUSALS, (machine_id,))}
    fresh = []
    for row in refused:
        mark = (row.at_us, _json(row.reading), row.reason)
        if mark not in known:
            known.add(mark)
            fresh.append(row)
    return fresh


def _json(reading: dict[str, object]) -> str:
    return json.dumps(reading, ensure_ascii=False, sort_keys=True, default=str)


def insert_batch(
    tx: Tx, fact_id: int, machine_id: int, *, accepted: int, duplicates: int, refused: int
) -> None:
    """Write that a batch came in."""
    tx.execute(
        _INSERT_BATCH,
        {
            "fact_id": fact_id,
            "machine_id": machine_id,
            "accepted": accepted,
            "duplicates": duplicates,
            "refused": refused,
        },
    )


def insert_readings(
    tx: Tx,
    batch_id: int,
    machine_id: int,
    columns: tuple[Ints, Ints, Ints, Ints],
    run_ids: Iterable[int | None],
) -> None:
    """Write accepted readings.

    Args:
        tx: The transaction.
        batch_id: The batch that brought them.
        machine_id: Their machine.
        columns: Instants [µs], counts, lives and totals, shape (readings,) each.
        run_ids: The run that each names, None where it names none.
    """
    at, count, life, total = (column.tolist() for column in columns)
    rows = [
        (machine_id, *reading, batch_id)
        for reading in zip(at, count, life, total, run_ids, strict=True)
    ]
    if rows:
        tx.exec_driver_sql(_INSERT, rows)


def renumber(
    tx: Tx, machine_id: int, at_us: Ints, life: Ints, total: Ints, tail: tuple[int, int, int]
) -> None:
    """Give readings that were known before their new life and total; later ones shift along.

    Goes from the latest to the earliest, since the database compares each row with the one
    before it.

    Args:
        tx: The transaction.
        machine_id: Their machine.
        at_us: Instants of the readings that change, ascending, shape (changed,).
        life: Their lives now.
        total: Their totals now.
        tail: Instant after which readings shift, by how many lives, by how many parts.
    """
    after_us, by_lives, by_parts = tail
    if by_lives or by_parts:
        tx.exec_driver_sql(_SHIFT_TAIL, (by_lives, by_parts, machine_id, after_us))
    rows = [
        (new_life, new_total, machine_id, at)
        for at, new_life, new_total in zip(
            at_us.tolist(), life.tolist(), total.tolist(), strict=True
        )
    ]
    if rows:
        tx.exec_driver_sql(_RENUMBER, rows[::-1])


def insert_refusals(tx: Tx, batch_id: int, machine_id: int, refused: Sequence[Refused]) -> None:
    """Keep refused readings aside, each with its reason."""
    if refused:
        tx.exec_driver_sql(
            _INSERT_REFUSAL,
            [
                (batch_id, machine_id, row.at_us, _json(row.reading), row.reason, row.detail)
                for row in refused
            ],
        )


class ReadingsAround(NamedTuple):
    """Readings of a machine in order: instants [µs], totals, runs named (0 for none)."""

    at_us: Ints
    total: Ints
    run_id: Ints


_LAST_TOTALS = (
    "SELECT at, total, coalesce(run_id, 0) FROM count_readings"
    " WHERE machine_id = ? AND at >= ? AND at <= ? ORDER BY at DESC LIMIT ?"
)
_TOTALS_AROUND = _AROUND.replace(_COLUMNS, "at, total, coalesce(run_id, 0)")


def last_totals(
    tx: Tx, machine_id: int, first_us: int, last_us: int, most: int
) -> ReadingsAround:
    """The last running totals between two instants, at most so many, in order."""
    rows = _rows(tx, _LAST_TOTALS, (machine_id, first_us, last_us, most))
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)[::-1]
    return ReadingsAround(table[:, 0], table[:, 1], table[:, 2])


def totals_around(tx: Tx, machine_id: int, first_us: int, last_us: int) -> ReadingsAround:
    """Running totals from one reading before an instant to one after another."""
    rows = _rows(tx, _TOTALS_AROUND, (machine_id, first_us, last_us))
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return ReadingsAround(table[:, 0], table[:, 1], table[:, 2])
