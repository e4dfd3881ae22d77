"""Stops of a machine: since when, until when, why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from crib.acts.who_and_when import record, who_and_when
from crib.clock import print_instant
from crib.errors import Invalid
from crib.records.columns import LONGEST_TEXT
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.store.stops import insert_stop


@dataclass(frozen=True, slots=True)
class ReportStop:
    """A machine stands still.

    Attributes:
        machine: Name of the machine.
        reason: Why, in a few words.
        ends_at: When it runs on, as far as that is known; may lie ahead.
    """

    machine: str
    reason: str
    ends_at: datetime | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class StopReported:
    """A stop on record."""

    fact_id: int
    machine: str
    at: datetime
    ends_at: datetime | None
    reason: str


def report_stop(tx: Tx, present: datetime, command: ReportStop) -> StopReported:
    """Record a stop.

    Raises:
        Invalid: It ends before it begins, or no reason is given.
        NotKnown: No such machine.
    """
    told = who_and_when(tx, present, command)
    machine_id = machine_id_by_name(tx, command.machine)
    reason = command.reason.strip()
    if not 1 <= len(reason) <= LONGEST_TEXT:
        raise Invalid(
            sentence(
                "Say in a few words why the machine stops (at most {longest_text} characters).",
                longest_text=LONGEST_TEXT,
            ),
            errors=[
                {
                    "field": "reason",
                    "detail": sentence(
                        "1 to {longest_text} characters", longest_text=LONGEST_TEXT
                    ),
                }
            ],
        )
    ends_at = command.ends_at
    if ends_at is not None:
        if ends_at.tzinfo is None:
            raise Invalid(
                sentence(
                    "{ends_at} has no offset: write it like 2026-03-29T01:30:00+01:00.",
                    ends_at=ends_at.isoformat(),
                ),
                errors=[{"field": "ends_at", "detail": sentence("has no offset")}],
            )
        ends_at = ends_at.astimezone(UTC)
        if ends_at < told.at:
            raise Invalid(
                sentence(
                    "The stop would end at {ends_at}, before it begins at {at}.",
                    ends_at=print_instant(ends_at),
                    at=print_instant(told.at),
                ),
                errors=[{"field": "ends_at", "detail": sentence("before the stop begins")}],
            )
    fact_id = record(tx, "stop", told)
    insert_stop(tx, fact_id, machine_id, ends_at, reason)
    return StopReported(fact_id, command.machine.strip(), told.at, ends_at, reason)
