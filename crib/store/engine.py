"""Opening the database: pragmas, one writer at a time, broken constraints as refusals."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event
from sqlalchemy.engine import Engine, make_url
from sqlalchemy.exc import IntegrityError, OperationalError, SQLAlchemyError
from sqlalchemy.pool import ConnectionPoolEntry, QueuePool, StaticPool

from crib.errors import Refusal, StoreBusy, StoreFull
from crib.sentence import sentence
from crib.store.constraints import refusal_from
from crib.store.digests import Digests, write_all
from crib.store.revisions import count_write
from crib.store.writer_queue import BUSY, WriterQueue

#: An open transaction; use cases take one and neither open nor close it.
Tx = Connection

#: Longest that a writer waits for another process, and behind one that does [s].
_WAIT_S, _BEHIND_S = 5.0, 1.0


def path_of(url: str) -> Path | None:
    """The file that a database's URL names; None for one in memory.

    Raises:
        Refusal: It is no URL, or another database's.
    """
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (SQLAlchemyError, ValueError) as problem:
        raise Refusal(
            sentence("CRIB_DATABASE_URL is no address of a database; use sqlite:///FILE.")
        ) from problem
    if backend != "sqlite":
        raise Refusal(
            sentence("CRIB_DATABASE_URL names {backend}; use sqlite:///FILE.", backend=backend)
        )
    if parsed.database in (None, "", ":memory:"):
        return None
    return Path(str(parsed.database)).absolute()


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
        self.path = path_of(url)
        in_memory = self.path is None
        if self.path is not None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            lock = self.path.with_name(f"{self.path.name}-lock")
            self._queue = WriterQueue(lock, wait_s, behind_s)
        self.engine: Engine = create_engine(
            url,
            poolclass=StaticPool if in_memory else QueuePool,
            connect_args={"check_same_thread": False, "timeout": wait_s},
            **({} if in_memory else {"pool_size": 8, "max_overflow": 32}),
        )
        event.listen(self.engine, "connect", _on_connect)

    @contextmanager
    def read(self) -> Iterator[Tx]:
        """A consistent view of the database; nothing is written."""
        if self.path is None:
            self._thread_lock.acquire()
        try:
            with self.engine.connect() as connection:
                connection.exec_driver_sql("BEGIN")
                try:
                    yield connection
                finally:
                    connection.exec_driver_sql("ROLLBACK")
        finally:
            if self.path is None:
                self._thread_lock.release()

    @contextmanager
    def write(self) -> Iterator[Tx]:
        """One short write transaction, committed at the end, undone by any exception.

        Writers queue before BEGIN IMMEDIATE: SQLite's own waiting polls and starves under load.

        Raises:
            Refusal: A constraint of the database forbade it; nothing was written.
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
            if not foreign_keys:  # SQLite takes this only outside a transaction
                connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
                digests.disarm()
            self._begin(connection, left_s)
            try:
                if foreign_keys:
                    digests.begin()
                yield connection
                if foreign_keys:
                    digests.write()
                connection.exec_driver_sql("COMMIT")
                digests.end(kept=foreign_keys)
            except BaseException as problem:
                _roll_back(connection)
                digests.end(kept=False)
                if isinstance(problem, IntegrityError):
                    raise refusal_from(problem) from problem
                if isinstance(problem, OperationalError) and "full" in str(problem.orig):
                    raise StoreFull(
                        sentence(
                            "The disk is full: nothing was recorded. Free some space "
                            "and send it again."
                        )
                    ) from problem
                raise
            finally:
                if not foreign_keys:
                    connection.exec_driver_sql("PRAGMA foreign_keys=ON")

    @contextmanager
    def _turn(self, *, patient: bool) -> Iterator[float]:
        if self._queue is None:
            with self._thread_lock:
                yield self._wait_s
            return
        with self._queue.turn(patient=patient) as left_s:
            yield left_s

    def _begin(self, connection: Connection, left_s: float) -> None:
        """Begin to write; whoever keeps to no queue (another program) is waited for here."""
        shorter = left_s < 0.9 * self._wait_s
        if shorter:
            connection.exec_driver_sql(f"PRAGMA busy_timeout={round(1000 * left_s)}")
        try:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        except OperationalError as problem:
            if "locked" not in str(problem.orig):
                raise
            raise StoreBusy(BUSY) from problem
        finally:
            if shorter:
                connection.exec_driver_sql(f"PRAGMA busy_timeout={round(1000 * self._wait_s)}")
        if self._queue is not None:
            self._queue.begun()

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _roll_back(connection: Connection) -> None:
    # SQLite itself has rolled back after some errors (disk full); asking twice is harmless
    driver: Any = connection.connection.driver_connection
    if driver.in_transaction:
        connection.exec_driver_sql("ROLLBACK")


def _on_connect(driver: Any, record: ConnectionPoolEntry) -> None:
    driver.isolation_level = None  # BEGIN is ours to say
    record.info["digests"] = Digests(driver)
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        "recursive_triggers=ON",  # else INSERT OR REPLACE deletes past the triggers
        "cache_size=-65536",
        "temp_store=MEMORY",
        "secure_delete=ON",  # what was deleted is zeros: every other byte means something
    ):
        driver.execute(f"PRAGMA {pragma}")


def raw(tx: Tx) -> sqlite3.Connection:
    """The driver's own connection of a transaction: for many rows, and for bare pragmas."""
    driver = tx.connection.driver_connection
    if not isinstance(driver, sqlite3.Connection):
        raise TypeError(driver)  # the transaction is over
    return driver
