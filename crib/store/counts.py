"""Rows of counter readings, in bulk: known ones around a batch, new ones, refused ones."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import text

from crib.arrays import Ints
from crib.errors import Damaged
from crib.floor.count import KnownCounts
from crib.floor.path_counters import PathCounters, path_counters
from crib.sentence import kept_beside, sentence
from crib.store.engine import Tx

_COLUMNS = "at, count, life, total, coalesce(source_id, 0), starts"
_AROUND = f"""
    SELECT {_COLUMNS} FROM count_readings WHERE machine_id = ?1 AND path = ?2
      AND at >= coalesce((SELECT max(at) FROM count_readings
                          WHERE machine_id = ?1 AND path = ?2 AND at < ?3), ?3)
      AND at <= coalesce((SELECT min(at) FROM count_readings
                          WHERE machine_id = ?1 AND path = ?2 AND at > ?4), ?4)
    ORDER BY at
"""  # noqa: S608 - no value from outside
_INSERT = (
    "INSERT INTO count_readings (machine_id, path, at, count, life, total, source_id, starts,"
    " run_id, batch_id) VALUES (?, ?, ?, ?, ?, ?, nullif(?, 0), ?, ?, ?)"
)
_SHIFT_TAIL = (
    "UPDATE count_readings SET life = life + ?, total = total + ?"
    " WHERE machine_id = ? AND path = ? AND at > ?"
)
_RENUMBER = (
    "UPDATE count_readings SET life = ?, total = ? WHERE machine_id = ? AND path = ? AND at = ?"
)
_INSERT_BATCH = text(
    "INSERT INTO count_batches (fact_id, machine_id, accepted, duplicates, refused, path)"
    " VALUES (:fact_id, :machine_id, :accepted, :duplicates, :refused, :path)"
)
_KNOWN_REFUSALS = (
    "SELECT at, reading, reason FROM count_refusals WHERE machine_id = ? AND path = ?"
)
_INSERT_REFUSAL = (
    "INSERT INTO count_refusals (batch_id, machine_id, path, at, reading, reason, detail,"
    " detail_sentence) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
)


class Counted(NamedTuple):
    """What one counter counts: a machine, and its path or 0 for all of its paths."""

    machine_id: int
    path: int = 0


def _rows(tx: Tx, statement: str, parameters: tuple[object, ...]) -> Sequence[Any]:
    cursor = tx.exec_driver_sql(statement, parameters).cursor
    return [] if cursor is None else cursor.fetchall()  # plain tuples: numpy crawls over Rows


def known_around(tx: Tx, counter: Counted, first_us: int, last_us: int) -> KnownCounts:
    """Accepted readings from one before an instant to one after another, in order."""
    rows = _rows(tx, _AROUND, (*counter, first_us, last_us))
    if not rows:
        return KnownCounts.none()
    return KnownCounts(*np.array(rows, dtype=np.int64).T)


_BOOKED_BEFORE = (
    "SELECT r.at, r.count FROM count_readings AS r JOIN facts AS f ON f.id = r.batch_id"
    " WHERE r.machine_id = ? AND r.path = ? AND f.recorded_at < ? ORDER BY r.at DESC LIMIT 1"
)
_NEXT = (
    "SELECT at, count FROM count_readings WHERE machine_id = ? AND path = ? AND at > ?"
    " ORDER BY at LIMIT 1"
)


def counts_beside(
    tx: Tx, counter: Counted, found_us: int
) -> tuple[tuple[int, int] | None, tuple[int, int] | None]:
    """The last count booked before an instant and the one after it: instants [µs], counts."""
    before = next(iter(_rows(tx, _BOOKED_BEFORE, (*counter, found_us))), None)
    after = None
    if before is not None:
        after = next(iter(_rows(tx, _NEXT, (*counter, before[0]))), None)
    return before, after


def last_count(tx: Tx, counter: Counted) -> tuple[int, int] | None:
    """The last count taken in: its instant [µs] and what it said; None where there is none."""
    statement = (
        "SELECT at, count FROM count_readings WHERE machine_id = ? AND path = ?"
        " ORDER BY at DESC LIMIT 1"
    )
    return next(iter(_rows(tx, statement, tuple(counter))), None)


def source_ids(tx: Tx, machine_id: int, names: Iterable[str]) -> dict[str, int]:
    """Ids of the counters that readings came from; those that are new get one."""
    found: dict[str, int] = {}
    for name in names:
        values = (machine_id, name)
        tx.exec_driver_sql(
            "INSERT INTO count_sources (machine_id, source) VALUES (?, ?)"
            " ON CONFLICT (machine_id, source) DO NOTHING",
            values,
        )
        ((found[name],),) = _rows(
            tx, "SELECT id FROM count_sources WHERE machine_id = ? AND source = ?", values
        )
    return found


def counters_of(tx: Tx, machine_id: int) -> tuple[PathCounters, str | None]:
    """The counters of a machine's paths, and the data item that counts for all of them.

    Raises:
        Damaged: The machine's record holds no list of counters.
    """
    ((text_, item),) = _rows(
        tx, "SELECT path_counters, count_item FROM machines WHERE id = ?", (machine_id,)
    )
    try:
        return path_counters(text_), item
    except (AttributeError, TypeError, ValueError) as problem:
        raise Damaged(
            sentence(
                "The path_counters of this machine cannot be read. Correct them in the records."
            )
        ) from problem


def parts_per_cycle(tx: Tx, counter: Counted) -> int:
    """Parts that one cycle makes of what a counter counts."""
    if counter.path:
        own = counters_of(tx, counter.machine_id)[0].get(counter.path)
        if own is not None:
            return own.parts_per_cycle
    cursor = tx.exec_driver_sql(
        "SELECT coalesce(parts_per_cycle, 1) FROM machines WHERE id = ?",
        (counter.machine_id,),
    )
    return int(cursor.scalar_one())


class Ahead(NamedTuple):
    """An accepted reading that is dated ahead: its instant [µs], what it said, its run."""

    at_us: int
    said: int
    run_id: int | None


_AHEAD = (
    "SELECT r.at, r.count, r.run_id, f.kind FROM count_readings AS r"
    " JOIN facts AS f ON f.id = r.batch_id"
    " WHERE r.machine_id = ? AND r.path = ? AND r.at > ? ORDER BY r.at"
)


def accepted_ahead(tx: Tx, counter: Counted, after_us: int) -> list[Ahead] | None:
    """Accepted readings after an instant [µs]; None where a person vouches for one of them."""
    rows = _rows(tx, _AHEAD, (*counter, after_us))
    if any(kind != "count" for *_, kind in rows):
        return None
    return [Ahead(*row[:3]) for row in rows]


def delete_ahead(tx: Tx, counter: Counted, after_us: int) -> None:
    """Take accepted readings after an instant [µs] out; each has to be kept aside by now."""
    tx.exec_driver_sql(
        "DELETE FROM count_readings WHERE machine_id = ? AND path = ? AND at > ?",
        (*counter, after_us),
    )


class Refused(NamedTuple):
    """A reading that is kept aside: what came, why, and a sentence."""

    at_us: int | None
    reading: dict[str, object]
    reason: str
    detail: str


def new_refusals(tx: Tx, counter: Counted, refused: Sequence[Refused]) -> list[Refused]:
    """Those of the refused readings that were not kept aside before for the same reason."""
    if not refused:
        return []
    known = {tuple(row) for row in _rows(tx, _KNOWN_REFUSALS, counter)}
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
    tx: Tx, fact_id: int, counter: Counted, *, accepted: int, duplicates: int, refused: int
) -> None:
    """Write that a batch came in."""
    tx.execute(
        _INSERT_BATCH,
        {
            "fact_id": fact_id,
            "machine_id": counter.machine_id,
            "path": counter.path,
            "accepted": accepted,
            "duplicates": duplicates,
            "refused": refused,
        },
    )


def insert_readings(
    tx: Tx,
    batch_id: int,
    counter: Counted,
    columns: tuple[Ints, Ints, Ints, Ints, Ints, Ints],
    run_ids: Iterable[int | None],
) -> None:
    """Write accepted readings.

    Args:
        tx: The transaction.
        batch_id: The batch that brought them.
        counter: Their counter.
        columns: Instants [µs], counts, lives, totals, sources (0 for none) and how each
            starts, shape (readings,) each.
        run_ids: The run that each names, None where it names none.
    """
    listed = (column.tolist() for column in columns)
    rows = [(*counter, *reading, batch_id) for reading in zip(*listed, run_ids, strict=True)]
    if rows:
        tx.exec_driver_sql(_INSERT, rows)


def renumber(
    tx: Tx, counter: Counted, at_us: Ints, life: Ints, total: Ints, tail: tuple[int, int, int]
) -> None:
    """Give readings that were known before their new life and total; later ones shift along.

    Goes from the latest to the earliest, since the database compares each row with the one
    before it.

    Args:
        tx: The transaction.
        counter: Their counter.
        at_us: Instants of the readings that change, ascending, shape (changed,).
        life: Their lives now.
        total: Their totals now.
        tail: Instant after which readings shift, by how many lives, by how many parts.
    """
    after_us, by_lives, by_parts = tail
    if by_lives or by_parts:
        tx.exec_driver_sql(_SHIFT_TAIL, (by_lives, by_parts, *counter, after_us))
    rows = [
        (new_life, new_total, *counter, at)
        for at, new_life, new_total in zip(
            at_us.tolist(), life.tolist(), total.tolist(), strict=True
        )
    ]
    if rows:
        tx.exec_driver_sql(_RENUMBER, rows[::-1])


def insert_refusals(
    tx: Tx, batch_id: int, counter: Counted, refused: Sequence[Refused]
) -> None:
    """Keep refused readings aside, each with its reason."""
    if refused:
        tx.exec_driver_sql(
            _INSERT_REFUSAL,
            [
                (
                    batch_id,
                    *counter,
                    row.at_us,
                    _json(row.reading),
                    row.reason,
                    row.detail,
                    kept_beside(row.detail),
                )
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
    " WHERE machine_id = ? AND path = ? AND at >= ? AND at <= ? ORDER BY at DESC LIMIT ?"
)
_TOTALS_AROUND = _AROUND.replace(_COLUMNS, "at, total, coalesce(run_id, 0)")


def last_totals(
    tx: Tx, counter: Counted, first_us: int, last_us: int, most: int
) -> ReadingsAround:
    """The last running totals between two instants, at most so many, in order."""
    rows = _rows(tx, _LAST_TOTALS, (*counter, first_us, last_us, most))
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)[::-1]
    return ReadingsAround(table[:, 0], table[:, 1], table[:, 2])


def totals_around(tx: Tx, counter: Counted, first_us: int, last_us: int) -> ReadingsAround:
    """Running totals from one reading before an instant to one after another."""
    rows = _rows(tx, _TOTALS_AROUND, (*counter, first_us, last_us))
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return ReadingsAround(table[:, 0], table[:, 1], table[:, 2])
