"""Rows of breakages whose tool is not known, and of their answers."""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple

from crib.clock import instant_from_us, readable_instant, us_from_instant
from crib.sentence import kept_beside, restored_sentence
from crib.store.engine import Tx
from crib.store.engines.chosen import WORDS

_OPEN = """
    SELECT d.id, d.machine_id, m.machine, d.path, d.tool_number, d.at, d.signal, d.why,
           d.why_sentence, d.found_at
    FROM breakage_doubts AS d JOIN machines AS m ON m.id = d.machine_id
    WHERE m.retired_at IS NULL AND NOT EXISTS (
      SELECT 1 FROM breakage_answers AS a WHERE a.doubt_id = d.id AND NOT EXISTS
        (SELECT 1 FROM facts AS x WHERE x.reverses_id = a.fact_id))
    ORDER BY d.at, d.id
"""


class Doubt(NamedTuple):
    """A breakage that a machine reported, and why it is not known which tool it was."""

    machine_id: int
    path: str
    tool_number: int | None
    at: datetime
    signal: str
    why: str


class OpenDoubt(NamedTuple):
    """An unanswered one: its number, the machine's name, and the report.

    Where the reported instant cannot be read, it is when it was written down (``at_is_told``).
    """

    id: int
    machine: str
    told: Doubt
    at_is_told: bool = True


def insert_doubt(tx: Tx, one: Doubt, found_at: datetime) -> None:
    """Write one down; one that is known, or open with another time, stays as it is."""
    if any(known.told._replace(at=one.at) == one for known in open_doubts(tx, one.machine_id)):
        return
    told = (one.machine_id, one.path, one.tool_number, us_from_instant(one.at), one.signal)
    known = tx.exec_driver_sql(
        "SELECT 1 FROM breakage_doubts WHERE machine_id = ? AND path = ?"  # noqa: S608
        f" AND {WORDS.same('tool_number')} AND at = ? AND signal = ?",
        told,
    ).first()
    if known is None:
        tx.exec_driver_sql(
            "INSERT INTO breakage_doubts"
            " (machine_id, path, tool_number, at, signal, why, why_sentence, found_at)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (*told, one.why, kept_beside(one.why), us_from_instant(found_at)),
        )


def open_doubts(tx: Tx, machine_id: int | None = None) -> list[OpenDoubt]:
    """Those that wait for an answer, the oldest first.

    Args:
        tx: An open transaction.
        machine_id: Only those of this machine.
    """
    return [
        _open_doubt(row) for row in tx.exec_driver_sql(_OPEN) if machine_id in (None, row[1])
    ]


def _open_doubt(row: Any) -> OpenDoubt:
    number, machine_id, machine, path, tool_number, at_us, signal, why, beside, found_us = row
    told = readable_instant(at_us)
    # a breakage must be asked about whatever became of its instants
    at = told or readable_instant(found_us) or instant_from_us(0)
    doubt = Doubt(machine_id, path, tool_number, at, signal, restored_sentence(why, beside))
    return OpenDoubt(number, machine, doubt, told is not None)


def insert_answer(tx: Tx, fact_id: int, doubt_id: int) -> None:
    """Write that a fact answers one."""
    tx.exec_driver_sql(
        "INSERT INTO breakage_answers (fact_id, doubt_id) VALUES (?, ?)", (fact_id, doubt_id)
    )


def answered_machine(tx: Tx, fact_id: int) -> str | None:
    """The machine whose breakage a fact answers; None where it answers none."""
    row = tx.exec_driver_sql(
        "SELECT m.machine FROM breakage_answers AS a"
        " JOIN breakage_doubts AS d ON d.id = a.doubt_id"
        " JOIN machines AS m ON m.id = d.machine_id WHERE a.fact_id = ?",
        (fact_id,),
    ).first()
    return None if row is None else str(row[0])
