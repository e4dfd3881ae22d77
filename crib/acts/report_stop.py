"""Stops of a machine: since when, until when, why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from crib.acts.said import record, said
from crib.clock import print_instant
from crib.errors import Invalid
from crib.records.columns import LONGEST_TEXT
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
    told = said(tx, present, command)
    machine_id = machine_id_by_name(tx, command.machine)
    reason = command.reason.strip()
    if not 1 <= len(reason) <= LONGEST_TEXT:
        raise Invalid(
            f"Say in a few words why the machine stops (at most {LONGEST_TEXT} characters).",
            errors=[{"field": "reason", "detail": f"1 to {LONGEST_TEXT} characters"}],
        )
    ends_at = command.ends_at
    if ends_at is not None:
        if ends_at.tzinfo is None:
            raise Invalid(
                f"{ends_at.isoformat()} has no offset: write it like "
                "2026-03-29T01:30:00+01:00.",
                errors=[{"field": "ends_at", "detail": "has no offset"}],
            )
        ends_at = ends_at.astimezone(UTC)
        if ends_at < told.at:
            raise Invalid(
                f"The stop would end at {print_instant(ends_at)}, before it begins at "
                f"{print_instant(told.at)}.",
                errors=[{"field": "ends_at", "detail": "before the stop begins"}],
            )
    fact_id = record(tx, "stop", told)
    insert_stop(tx, fact_id, machine_id, ends_at, reason)
    return StopReported(fact_id, command.machine.strip(), told.at, ends_at, reason)
