"""From a URL to connections: pragmas, beginning and ending, and what SQLite's errors mean."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event
from sqlalchemy.engine import Engine, make_url
from sqlalchemy.exc import OperationalError, SQLAlchemyError
from sqlalchemy.pool import ConnectionPoolEntry, QueuePool, StaticPool

from crib.errors import Refusal, StoreBusy
from crib.sentence import sentence
from crib.store.engines.interface import Driver
from crib.store.engines.sqlite.writer_queue import BUSY, WriterQueue

#: A database in memory, of one process, for tests and comparisons.
IN_MEMORY: str = "sqlite://"

#: Any error of the driver itself, whatever was asked of it.
FAULT: type[Exception] = sqlite3.Error

#: One that no data cause: locked, full, unreadable.
NOT_TAKEN: type[Exception] = sqlite3.OperationalError


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
            sentence("CRIB_DATABASE_URL is not a database address; use sqlite:///FILE.")
        ) from problem
    if backend != "sqlite":
        raise Refusal(
            sentence("CRIB_DATABASE_URL names {backend}; use sqlite:///FILE.", backend=backend)
        )
    if parsed.database in (None, "", ":memory:"):
        return None
    return Path(str(parsed.database)).absolute()


def url_of(path: Path) -> str:
    """The URL of a database in a file."""
    return f"sqlite:///{path}"


def engine_of(url: str, wait_s: float, connected: Callable[[Driver, Any], object]) -> Engine:
    """Connections to a database.

    Args:
        url: Its URL.
        wait_s: Longest that a statement waits for another process [s].
        connected: Called with each new connection and the notes kept with it.
    """
    in_memory = path_of(url) is None
    engine = create_engine(
        url,
        poolclass=StaticPool if in_memory else QueuePool,
        connect_args={"check_same_thread": False, "timeout": wait_s},
        **({} if in_memory else {"pool_size": 8, "max_overflow": 32}),
    )

    def on_connect(driver: Any, record: ConnectionPoolEntry) -> None:
        driver.isolation_level = None  # BEGIN is ours to say
        connected(driver, record.info)
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

    event.listen(engine, "connect", on_connect)
    return engine


def writer_queue(lock: Path, wait_s: float, behind_s: float) -> WriterQueue:
    """The queue of those who write to a database, by a file that they lock."""
    return WriterQueue(lock, wait_s, behind_s)


def begin_to_write(connection: Connection, left_s: float, usual_s: float) -> None:
    """Begin to write; waits for other programs, which do not use the queue.

    ``BEGIN IMMEDIATE`` takes the lock at once: a reader that turns writer could not.

    Args:
        connection: Outside a transaction.
        left_s: Longest to wait [s].
        usual_s: Longest that its other statements wait [s].

    Raises:
        StoreBusy: Somebody held the database for longer.
    """
    shorter = left_s < 0.9 * usual_s
    if shorter:
        connection.exec_driver_sql(f"PRAGMA busy_timeout={round(1000 * left_s)}")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    except OperationalError as problem:
        if not is_locked(problem):
            raise
        raise StoreBusy(BUSY) from problem
    finally:
        if shorter:
            connection.exec_driver_sql(f"PRAGMA busy_timeout={round(1000 * usual_s)}")


def roll_back(connection: Connection) -> None:
    """Undo the transaction.

    SQLite itself has rolled back after some errors (disk full); asking twice is harmless.
    """
    driver: Any = connection.connection.driver_connection
    if driver.in_transaction:
        connection.exec_driver_sql("ROLLBACK")


def hold_references(connection: Connection, *, hold: bool) -> None:
    """Whether rows must name rows that are there; taken only outside a transaction."""
    connection.exec_driver_sql(f"PRAGMA foreign_keys={'ON' if hold else 'OFF'}")


def raw(connection: Connection) -> sqlite3.Connection:
    """The driver's own connection of a transaction: for many rows at once.

    Raises:
        TypeError: The transaction is over.
    """
    driver = connection.connection.driver_connection
    if not isinstance(driver, sqlite3.Connection):
        raise TypeError(driver)
    return driver


def is_full(problem: OperationalError) -> bool:
    """Whether the disk took no more."""
    return "full" in str(problem.orig)


def is_locked(problem: OperationalError) -> bool:
    """Whether somebody else holds the database."""
    return "locked" in str(problem.orig)
