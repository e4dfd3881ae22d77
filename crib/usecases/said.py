"""Who says what happened when: the part that every fact has in common."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

from crib.clock import print_instant, refuse_future
from crib.errors import Conflict, Invalid
from crib.records.columns import LONGEST_TEXT
from crib.store.engine import Tx
from crib.store.facts import add_fact
from crib.store.resolve import resolve_person


class Command(Protocol):
    """What every command carries: when it happened, who says so, what they add."""

    @property
    def at(self) -> datetime | None:
        """When it happened; None is now."""

    @property
    def by(self) -> str | None:
        """Badge or code of the person who says so."""

    @property
    def note(self) -> str | None:
        """What they add."""


@dataclass(frozen=True, slots=True)
class Said:
    """When something happened, when it was said, by whom."""

    at: datetime
    present: datetime
    person_id: int | None
    note: str | None


def said(tx: Tx, present: datetime, command: Command) -> Said:
    """Read what a command has in common with all others.

    Raises:
        Invalid: It lies in the future, has no offset, or the note is a pasted page.
        NotKnown: Nobody here has that badge or code.
        BadCode: The person's code is mistyped.
    """
    at = in_utc(command.at or present)
    refuse_future(at, present)
    note = (command.note or "").strip() or None
    if note is not None and len(note) > LONGEST_TEXT:
        raise Invalid(
            f"The note is {len(note)} characters long: at most {LONGEST_TEXT} are taken.",
            errors=[{"field": "note", "detail": f"at most {LONGEST_TEXT} characters"}],
        )
    person = resolve_person(tx, command.by) if command.by else None
    return Said(at, present, person.id if person else None, note)


def in_utc(at: datetime) -> datetime:
    """The same instant in UTC.

    Raises:
        Invalid: It has no offset.
    """
    if at.tzinfo is None:
        raise Invalid(
            f"{at.isoformat()} has no offset: write it like 2026-03-29T01:30:00+01:00.",
            errors=[{"field": "at", "detail": "has no offset"}],
        )
    return at.astimezone(UTC)


def record(tx: Tx, kind: str, told: Said, *, reverses_id: int | None = None) -> int:
    """Write the fact; its id."""
    return add_fact(
        tx,
        kind,
        told.at,
        told.present,
        told.person_id,
        told.note,
        reverses_id,
    )


def refuse_before(at: datetime, earliest: datetime | None, what: str) -> None:
    """Refuse a fact that would lie before another that it follows from.

    Args:
        at: When it is said to have happened.
        earliest: When the other happened; None where there is none.
        what: The other as a clause, like "tool A000017 was built".

    Raises:
        Conflict: It lies before.
    """
    if earliest is not None and at < earliest:
        raise Conflict(
            f"{print_instant(at)} is too early: {what} at {print_instant(earliest)}. Check the "
            "time.",
            facts={"at": print_instant(at), "earliest": print_instant(earliest)},
            errors=[{"field": "at", "detail": f"before {print_instant(earliest)}"}],
        )
