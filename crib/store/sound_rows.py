"""Rows of a list without those that cannot be read: one damaged row takes no list down."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, Row, Select
from sqlalchemy.exc import OperationalError

from crib.sentence import sentence
from crib.store.engine import Tx

_Made = TypeVar("_Made")

#: What is raised of a value that is none of its kind: an instant beyond every calendar, text
#: where a number belongs, a number that names no other row.
_OF_ONE_VALUE: Final = (ArithmeticError, LookupError, TypeError, ValueError)


def sound_rows(
    tx: Tx,
    statement: Select[Any],
    number: ColumnElement[int],
    finish: Callable[[Sequence[Row[Any]]], list[_Made]],
) -> tuple[list[_Made], list[int]]:
    """Rows of a statement, and the numbers of those that cannot be read.

    Only where the rows cannot be read together are they divided until the bad ones are found.

    Args:
        tx: An open transaction.
        statement: Rows in the order of their number.
        number: The column of the number.
        finish: Makes of rows what is given out.
    """
    try:
        return finish(tx.execute(statement).all()), []
    except Exception as fault:
        if not is_of_one_value(fault):
            raise
    bare = statement.with_only_columns(number)
    numbers = list(dict.fromkeys(tx.execute(bare).scalars()))
    rows: list[_Made] = []
    unreadable: list[int] = []
    waiting: list[Sequence[int]] = [numbers]
    while waiting:
        some = waiting.pop()
        try:
            rows += finish(tx.execute(statement.where(number.in_(some))).all())
        except Exception as fault:
            if not is_of_one_value(fault):
                raise
            middle = len(some) // 2
            if middle:
                waiting += [some[middle:], some[:middle]]
            else:
                unreadable += some
    return rows, unreadable


def is_of_one_value(fault: BaseException) -> bool:
    """Whether a value was at fault, and not the database."""
    return isinstance(fault, _OF_ONE_VALUE) or (
        isinstance(fault, OperationalError) and "decode" in str(fault.orig)
    )


def not_read(name: str, number: int) -> str:
    """The problem of a row that cannot be read.

    Args:
        name: Its list, as in the address.
        number: Its number.
    """
    return sentence(
        "Row {number} of {name} cannot be read, so it is not shown. Run crib check: it names "
        "what is damaged.",
        number=number,
        name=name,
    )
