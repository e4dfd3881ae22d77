"""Readings of every counter, read whole once and then only what came in since."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from crib.arrays import Ints
from crib.planning.growing import GrowingColumn
from crib.store.counts import Counted
from crib.store.engine import Tx

#: Readings taken out of the database at once: years of them as Python numbers fill the memory.
_AT_ONCE = 50_000

_COLUMNS = "machine_id, path, at, total, coalesce(run_id, 0)"
_ALL = f"SELECT {_COLUMNS} FROM count_readings WHERE at <= ? ORDER BY machine_id, path, at"  # noqa: S608
_OF_COUNTER = (
    f"SELECT {_COLUMNS} FROM count_readings WHERE machine_id = ? AND path = ? AND at >= ?"  # noqa: S608
    " ORDER BY at"
)
_LAST_BATCH = (
    "SELECT f.id, f.recorded_at FROM facts f"
    " WHERE f.id = (SELECT max(fact_id) FROM count_batches)"
)
_BATCH = "SELECT f.id, f.recorded_at FROM facts f WHERE f.id = ?"
_BATCHES_SINCE = (
    "SELECT machine_id, path, sum(accepted), sum(duplicates + refused) FROM count_batches"
    " WHERE fact_id > ? GROUP BY machine_id, path"
)

_ALWAYS_US = -(2**62)


class Readings(NamedTuple):
    """A counter's accepted readings in order, arrays of shape (readings,)."""

    at_us: Ints
    total: Ints
    run_id: Ints  # 0 where none was named

    def until(self, as_of_us: int) -> Readings:
        """Those dated up to an instant [µs]."""
        if not self.at_us.size or self.at_us[-1] <= as_of_us:
            return self
        size = int(np.searchsorted(self.at_us, as_of_us, side="right"))
        return Readings(self.at_us[:size], self.total[:size], self.run_id[:size])


NO_READINGS = Readings(*(np.empty(0, dtype=np.int64) for _ in Readings._fields))


class ReadingsByCounter(dict[Counted, Readings]):
    """Readings of each counter.

    Attributes:
        left_out: Readings that could not be read: damaged ones.
    """

    left_out = 0


def load_readings(tx: Tx, as_of_us: int) -> ReadingsByCounter:
    """Every counter's readings dated up to an instant [µs]."""
    cursor = tx.exec_driver_sql(_ALL, (as_of_us,)).cursor
    found, pieces = ReadingsByCounter(), []
    while cursor is not None and (rows := cursor.fetchmany(_AT_ONCE)):
        pieces.append(_table(rows))
        found.left_out += len(rows) - len(pieces[-1])
    if not pieces:
        return found
    table = np.concatenate(pieces)
    changes = np.any(table[1:, :2] != table[:-1, :2], axis=1)
    begins = np.concatenate([[0], np.flatnonzero(changes) + 1, [len(table)]]).tolist()
    for begin, end in pairwise(begins):
        if end > begin:
            found[Counted(*table[begin, :2].tolist())] = _readings(table[begin:end])
    return found


class GrowingReadings:
    """Keeps every counter's readings; a look costs only what came in since the one before.

    A batch whose readings all lie after those known is read alone. After any other (late
    readings, repeats, ones kept aside: they may renumber what was known) the counter is read
    again, and so is everything in a database that was restored. Not for
    several threads at once.
    """

    def __init__(self) -> None:
        self._held: dict[Counted, _Held] = {}
        self._epoch: dict[Counted, int] = {}
        self._last: tuple[int, int] | None = None
        self._left_out = 0

    def epoch(self, machine_id: int, path: int = 0) -> int:
        """Counts how often a counter was read again; in between, readings are only appended."""
        return self._epoch.get(Counted(machine_id, path), 0)

    def read(self, tx: Tx, as_of_us: int) -> ReadingsByCounter:
        """Every counter's readings dated up to an instant [µs].

        Args:
            tx: An open transaction.
            as_of_us: The instant.
        """
        if self._last is not None and _one(tx, _BATCH, (self._last[0],)) != self._last:
            self._last = None  # another past than the one that was read
        if self._last is None:
            known = set(self._held)
            loaded = load_readings(tx, 2**62)
            self._left_out = loaded.left_out
            self._held = {counter: _Held(readings) for counter, readings in loaded.items()}
            for counter in known | set(self._held):
                self._epoch[counter] = self.epoch(*counter) + 1
        else:
            for *key, accepted, others in _rows(tx, _BATCHES_SINCE, (self._last[0],)):
                counter = Counted(*key)
                if others or not self._follow_on(tx, counter, accepted):
                    self._read_again(tx, counter)
        self._last = _one(tx, _LAST_BATCH, ())
        # in the order of a whole look, whichever counter sent something first
        cut = {key: self._held[key].all().until(as_of_us) for key in sorted(self._held)}
        found = ReadingsByCounter((key, one) for key, one in cut.items() if one.at_us.size)
        found.left_out = self._left_out
        return found

    def _follow_on(self, tx: Tx, counter: Counted, accepted: int) -> bool:
        """Take the readings after those known; False where they are not all that came in."""
        held = self._held.get(counter)
        if held is None:
            return False
        known = held.all()
        rows = _rows(tx, _OF_COUNTER, (*counter, int(known.at_us[-1])))
        if not rows or len(rows) != accepted + 1:
            return False
        if (rows[0][2], rows[0][3]) != (known.at_us[-1], known.total[-1]):
            return False
        table = _table(rows[1:])
        held.append(_readings(table))
        return len(table) == accepted

    def _read_again(self, tx: Tx, counter: Counted) -> None:
        rows = _rows(tx, _OF_COUNTER, (*counter, _ALWAYS_US))
        table = _table(rows)
        if table.size:
            self._held[counter] = _Held(_readings(table))
        else:
            self._held.pop(counter, None)
        self._epoch[counter] = self.epoch(*counter) + 1


class _Held:
    """One counter's readings with room for more."""

    def __init__(self, readings: Readings) -> None:
        self._columns = [GrowingColumn(column) for column in readings]

    def append(self, readings: Readings) -> None:
        for column, more in zip(self._columns, readings, strict=True):
            column.append(more)

    def all(self) -> Readings:
        return Readings(*(column.all() for column in self._columns))


def _table(rows: Sequence[Any]) -> Ints:
    """Rows as an array, but for those with a value that is no integer of ours."""
    try:
        return np.array(rows, dtype=np.int64).reshape(-1, 5)
    except (OverflowError, TypeError, ValueError):
        whole = [row for row in rows if all(isinstance(value, int) for value in row)]
        return np.array(whole, dtype=np.int64).reshape(-1, 5)


def _readings(table: Ints) -> Readings:
    return Readings(table[:, 2], table[:, 3], table[:, 4])


def _rows(tx: Tx, statement: str, parameters: tuple[int, ...]) -> list[Any]:
    cursor = tx.exec_driver_sql(statement, parameters).cursor
    return list(cursor.fetchall()) if cursor is not None else []


def _one(tx: Tx, statement: str, parameters: tuple[int, ...]) -> tuple[int, int] | None:
    rows = _rows(tx, statement, parameters)
    return (rows[0][0], rows[0][1]) if rows else None
