"""Parts of one transaction that fail by themselves, and failures that nobody's data caused."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, ResourceClosedError
from sqlalchemy.exc import TimeoutError as NoConnection

from crib.errors import StoreBusy, StoreFull
from crib.store.engine import Tx
from crib.store.engines.chosen import CONNECTING


@contextmanager
def savepoint(tx: Tx) -> Iterator[None]:
    """What is written inside is undone by an exception; the rest of the transaction stays.

    After a failure of the database itself the whole transaction is over, and nothing is undone
    here.
    """
    tx.exec_driver_sql("SAVEPOINT part")
    try:
        yield
    except Exception as problem:
        if not is_failure_to_write(problem):
            tx.exec_driver_sql("ROLLBACK TO part")
            tx.exec_driver_sql("RELEASE part")
        raise
    tx.exec_driver_sql("RELEASE part")


#: Faults of the database itself, whatever was asked of it. A row that is not there is none.
STORE_FAULTS: Final = (
    DBAPIError, ResourceClosedError, NoConnection, CONNECTING.FAULT, StoreBusy, StoreFull
)  # fmt: skip

#: What a reader meets where the database cannot be read or is held by somebody else.
NotAnswered = OperationalError


#: A constraint of the database forbade it.
BrokenConstraint = IntegrityError


def is_locked(problem: OperationalError) -> bool:
    """Whether somebody else holds the database."""
    return CONNECTING.is_locked(problem)


def is_failure_to_write(problem: BaseException) -> bool:
    """Whether the database took nothing (locked, full, unreadable), whatever was written."""
    return isinstance(
        problem, (OperationalError, CONNECTING.NOT_TAKEN, StoreBusy, StoreFull, OSError)
    )
