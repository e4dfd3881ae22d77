"""Rows of readings that were kept aside and of what people said of them since."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from crib.clock import readable_instant
from crib.sentence import restored_sentence
from crib.store.counts import Counted
from crib.store.engine import Tx

#: Readings that one verdict can bring in.
MOST_DOUBTED = 100_000

_SELECT = """
    SELECT r.id, r.machine_id, r.path, m.machine, r.at, r.reading, r.reason, r.detail,
           r.detail_sentence, b.recorded_at, v.fact_id, v.verdict, p.name, vf.at, vf.note
    FROM count_refusals AS r
    JOIN machines AS m ON m.id = r.machine_id
    JOIN facts AS b ON b.id = r.batch_id
    LEFT JOIN (SELECT fact_id, refusal_id, verdict FROM count_verdicts UNION ALL
               SELECT fact_id, refusal_id, 'booked_later' FROM counts_booked_later) AS v
      ON v.refusal_id = r.id
      AND NOT EXISTS (SELECT 1 FROM facts AS x WHERE x.reverses_id = v.fact_id)
    LEFT JOIN facts AS vf ON vf.id = v.fact_id
    LEFT JOIN people AS p ON p.id = vf.person_id
"""
#: Reason of a count that a person announced: the counter would be set to it.
TOLD = "told_set"
_ONE = _SELECT + " WHERE r.id = ?"
_WAITS = f" WHERE v.fact_id IS NULL AND r.reason <> '{TOLD}'"
_WAITING = _SELECT + f"{_WAITS} ORDER BY r.id DESC LIMIT ?"
_JUDGED = _SELECT + " WHERE v.verdict <> 'booked_later' ORDER BY v.fact_id DESC LIMIT ?"
#: Reasons for which a count may be true after all, once it is known that the counter was set.
DOUBTED = ("too_fast", "behind_set")
_DOUBTED = f"({', '.join(repr(one) for one in DOUBTED)})"
_DOUBTED_AFTER = (
    _SELECT + f" WHERE v.fact_id IS NULL AND r.machine_id = ? AND r.path = ? AND r.at > ?"
    f" AND r.reason IN {_DOUBTED}"
    " ORDER BY r.at DESC, r.id DESC LIMIT ?"
)

_DOUBTED_ALL = (
    _SELECT + f" WHERE v.fact_id IS NULL AND r.at IS NOT NULL AND r.reason IN {_DOUBTED}"
    " ORDER BY r.machine_id, r.path, r.at, r.id LIMIT ?"
)


@dataclass(frozen=True, slots=True)
class KeptAside:
    """A reading that was kept aside, and the verdict that stands.

    Attributes:
        id: Its number.
        counter: Its counter.
        machine: Name of its machine.
        at: When the counter said it; None where that could not be read.
        count: What it said, as received.
        reason: Why it was kept aside, a stable word.
        sentence: The same for a person.
        recorded_at: When it came; None where that cannot be read.
        verdict_id: The verdict's fact; None where nobody judged it.
        verdict: ``accepted``, ``discarded``, ``counter_set``, or ``booked_later`` where it was
            booked since somebody said that the counter had been set.
        judged_by: Name of who judged it.
        judged_at: When.
        note: What they added.
    """

    id: int
    counter: Counted
    machine: str
    at: datetime | None
    count: Any
    reason: str
    sentence: str
    recorded_at: datetime | None
    verdict_id: int | None
    verdict: str | None
    judged_by: str | None
    judged_at: datetime | None
    note: str | None

    @property
    def may_be_set(self) -> bool:
        """Whether it only looks impossible, so that the counter may have been set."""
        return self.reason in DOUBTED


def _reading(text: Any) -> Any:
    """A reading as received; a damaged one unchanged."""
    try:
        return json.loads(text)
    except (TypeError, ValueError):
        return text


def _kept_aside(row: Any) -> KeptAside:
    number, machine_id, path, machine, at, text, reason, detail, beside, came, *verdict = row
    reading = _reading(text)
    verdict_id, word, judge, judged, note = verdict
    return KeptAside(
        id=number,
        counter=Counted(machine_id, path),
        machine=machine,
        at=readable_instant(at),
        count=reading.get("count") if isinstance(reading, dict) else reading,
        reason=reason,
        sentence=restored_sentence(detail, beside),
        recorded_at=readable_instant(came),
        verdict_id=verdict_id,
        verdict=word,
        judged_by=judge,
        judged_at=readable_instant(judged),
        note=note,
    )


def kept_aside(tx: Tx, refusal_id: int) -> KeptAside | None:
    """One reading that was kept aside; None where none has that number."""
    row = tx.exec_driver_sql(_ONE, (refusal_id,)).first()
    return None if row is None else _kept_aside(row)


def waiting_for_verdict(tx: Tx, limit: int = 200) -> list[KeptAside]:
    """Readings that nobody judged, those that came last first."""
    return [_kept_aside(row) for row in tx.exec_driver_sql(_WAITING, (limit,))]


def judged_counts(tx: Tx, limit: int = 50) -> list[KeptAside]:
    """Readings that somebody judged, the last verdict first."""
    return [_kept_aside(row) for row in tx.exec_driver_sql(_JUDGED, (limit,))]


def doubted_after(
    tx: Tx, counter: Counted, at_us: int, most: int = MOST_DOUBTED
) -> list[KeptAside]:
    """Readings after an instant that only look impossible beside what is accepted, in order."""
    rows = tx.exec_driver_sql(_DOUBTED_AFTER, (*counter, at_us, most))
    return [_kept_aside(row) for row in rows][::-1]


def waiting_doubted(tx: Tx) -> list[KeptAside]:
    """Readings of all counters that only look impossible, by counter and in order."""
    rows = tx.exec_driver_sql(_DOUBTED_ALL, (MOST_DOUBTED,))
    return [_kept_aside(row) for row in rows]


def insert_booked_later(tx: Tx, fact_id: int, refusal_ids: Sequence[int]) -> None:
    """Write which readings were booked because of a verdict on another one."""
    if refusal_ids:
        tx.exec_driver_sql(
            "INSERT INTO counts_booked_later (fact_id, refusal_id) VALUES (?, ?)",
            [(fact_id, one) for one in refusal_ids],
        )


def readings_of_fact(tx: Tx, fact_id: int) -> list[int]:
    """Instants [µs] of the readings that came in by a fact, the last one first."""
    rows = tx.exec_driver_sql(
        "SELECT at FROM count_readings WHERE batch_id = ? ORDER BY at DESC", (fact_id,)
    )
    return [int(row[0]) for row in rows]


def leave_unexplained(tx: Tx, counter: Counted, at_us: int) -> None:
    """Mark a reading whose step makes nothing unless it is plausible by itself."""
    tx.exec_driver_sql(
        "UPDATE count_readings SET starts = 2 WHERE machine_id = ? AND path = ? AND at = ?",
        (*counter, at_us),
    )


def count_waiting(tx: Tx) -> int:
    """How many readings wait for a verdict."""
    statement = f"SELECT count(*) FROM ({_SELECT}{_WAITS})"  # noqa: S608
    return int(tx.exec_driver_sql(statement).scalar_one())


def insert_verdict(tx: Tx, fact_id: int, refusal_id: int, verdict: str) -> None:
    """Write what a person said of a reading."""
    tx.exec_driver_sql(
        "INSERT INTO count_verdicts (fact_id, refusal_id, verdict) VALUES (?, ?, ?)",
        (fact_id, refusal_id, verdict),
    )


def judged_by_fact(tx: Tx, fact_id: int) -> tuple[KeptAside, str]:
    """The reading that a verdict was about, and the verdict, taken back or not."""
    refusal_id, verdict = tx.exec_driver_sql(
        "SELECT refusal_id, verdict FROM count_verdicts WHERE fact_id = ?", (fact_id,)
    ).one()
    found = kept_aside(tx, refusal_id)
    assert found is not None  # noqa: S101 - the database refuses a verdict about nothing
    return found, str(verdict)


def delete_reading(tx: Tx, counter: Counted, at_us: int) -> None:
    """Take a reading out; the database allows it only where its verdict was taken back."""
    tx.exec_driver_sql(
        "DELETE FROM count_readings WHERE machine_id = ? AND path = ? AND at = ?",
        (*counter, at_us),
    )
