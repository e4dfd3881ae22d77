"""Opening the database: one writer at a time, broken constraints as refusals."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from json import JSONDecodeError
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.engine import Engine
from sqlalchemy.exc import IntegrityError, NoResultFound, OperationalError

from crib.errors import Damaged, StoreFull
from crib.sentence import sentence
from crib.store.constraints import refusal_from
from crib.store.digests import Digests, write_all
from crib.store.engines.chosen import CONNECTING
from crib.store.engines.interface import Driver, WriterQueue
from crib.store.field_types import unreadable_value
from crib.store.revisions import count_write

#: An open transaction; use cases take one and neither open nor close it.
Tx = Connection

#: Longest that a writer waits for another process, and behind one that does [s].
_WAIT_S, _BEHIND_S = 5.0, 1.0


class Store:
    """One database.

    Args:
        url: SQLAlchemy URL, ``sqlite:////path/to/file`` or ``sqlite://`` (memory, tests only).
        wait_s: Longest that a writer waits for another process [s].
        behind_s: Longest that a writer waits behind one of this process that waits so [s].
    """

    def __init__(
        self, url: str, *, wait_s: float = _WAIT_S, behind_s: float = _BEHIND_S
    ) -> None:
        self.url = url
        self._thread_lock = threading.RLock()
        self._wait_s = wait_s
        self._queue: WriterQueue | None = None
        self.path = CONNECTING.path_of(url)
        if self.path is not None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            lock = self.path.with_name(f"{self.path.name}-lock")
            self._queue = CONNECTING.writer_queue(lock, wait_s, behind_s)
        self.engine: Engine = CONNECTING.engine_of(url, wait_s, _watch)

    @contextmanager
    def read(self) -> Iterator[Tx]:
        """A consistent view of the database; nothing is written.

        Raises:
            Damaged: A row that has to be there is not, or what a column keeps is no JSON.
        """
        if self.path is None:
            self._thread_lock.acquire()
        try:
            with self.engine.connect() as connection:
                connection.exec_driver_sql("BEGIN")
                try:
                    yield connection
                except (NoResultFound, JSONDecodeError) as problem:
                    raise _damaged(problem) from problem
                finally:
                    connection.exec_driver_sql("ROLLBACK")
        finally:
            if self.path is None:
                self._thread_lock.release()

    @contextmanager
    def write(self) -> Iterator[Tx]:
        """One short write transaction, committed at the end, undone by any exception.

        Writers queue before they begin: an engine's own waiting may poll and starve under load.

        Raises:
            Refusal: A constraint of the database forbade it; nothing was written.
            Damaged: As in :meth:`read`; nothing was written.
            StoreBusy: Another process held the database for too long; nothing was written.
            StoreFull: The disk took no more; nothing was written.
        """
        with self._transaction() as connection:
            yield connection
            count_write(raw(connection), connection.info["digests"].touched())

    @contextmanager
    def note(self) -> Iterator[Tx]:
        """One short write transaction for what makes no view old; no revision is counted."""
        with self._transaction() as connection:
            yield connection

    @contextmanager
    def reshape(self) -> Iterator[Tx]:
        """One write transaction for a migration: foreign keys rest, no revision is counted."""
        with self._transaction(foreign_keys=False) as connection:
            yield connection
            write_all(raw(connection))

    @contextmanager
    def _transaction(self, *, foreign_keys: bool = True) -> Iterator[Tx]:
        with (
            self._turn(patient=not foreign_keys) as left_s,
            self.engine.connect() as connection,
        ):
            digests: Digests = connection.info["digests"]
            if not foreign_keys:
                CONNECTING.hold_references(connection, hold=False)
                digests.disarm()
            CONNECTING.begin_to_write(connection, left_s, self._wait_s)
            if self._queue is not None:
                self._queue.begun()
            try:
                if foreign_keys:
                    digests.begin()
                yield connection
                if foreign_keys:
                    digests.write()
                connection.exec_driver_sql("COMMIT")
                digests.end(kept=foreign_keys)
            except BaseException as problem:
                CONNECTING.roll_back(connection)
                digests.end(kept=False)
                if isinstance(problem, (NoResultFound, JSONDecodeError)):
                    raise _damaged(problem) from problem
                if isinstance(problem, IntegrityError):
                    raise refusal_from(problem) from problem
                if isinstance(problem, OperationalError) and CONNECTING.is_full(problem):
                    raise StoreFull(
                        sentence(
                            "The disk is full: nothing was recorded. Free some space "
                            "and send it again."
                        )
                    ) from problem
                raise
            finally:
                if not foreign_keys:
                    CONNECTING.hold_references(connection, hold=True)

    @contextmanager
    def _turn(self, *, patient: bool) -> Iterator[float]:
        if self._queue is None:
            with self._thread_lock:
                yield self._wait_s
            return
        with self._queue.turn(patient=patient) as left_s:
            yield left_s

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _damaged(problem: Exception) -> Damaged:
    if isinstance(problem, NoResultFound):
        return Damaged(
            sentence(
                "A record that this one names is not there. Run crib check: it names what is "
                "damaged."
            )
        )
    return unreadable_value()


def _watch(driver: Driver, notes: dict[str, Any]) -> None:
    notes["digests"] = Digests(driver)


def raw(tx: Tx) -> Driver:
    """The driver's own connection of a transaction: for many rows, past what they cost else."""
    return CONNECTING.raw(tx)
