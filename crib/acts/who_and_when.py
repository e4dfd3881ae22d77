"""Who says what happened when: the part that every fact has in common."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Protocol

from crib.clock import CLOCK_TOLERANCE, print_instant, refuse_future
from crib.errors import Conflict, Invalid
from crib.records.columns import LONGEST_TEXT
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.facts import add_fact
from crib.store.resolve import resolve_person

#: How old the time of an act may be that happens now: it was sent, and waited for its turn.
_UNDER_WAY = timedelta(minutes=1)


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
class WhoAndWhen:
    """When something happened, when it was said, by whom."""

    at: datetime
    present: datetime
    person_id: int | None
    note: str | None


def who_and_when(
    tx: Tx, present: datetime, command: Command, *, as_dated: bool = False
) -> WhoAndWhen:
    """Read what a command has in common with all others.

    A fact has already happened. A time a little ahead of ours comes from a fast clock, and
    counts as now: else it would block what is done to the same tool or station until then.

    Args:
        tx: An open transaction.
        present: Now.
        command: The command.
        as_dated: Keep a time a little ahead as it was sent (a machine that repeats a signal
            is known by its time).

    Raises:
        Invalid: It lies in the future, has no offset, or the note is a pasted page.
        NotKnown: Nobody here has that badge or code.
        BadCode: The person's code is mistyped.
    """
    at = in_utc(command.at or present)
    refuse_future(at, present)
    if not as_dated:
        at = min(at, present)
    note = (command.note or "").strip() or None
    if note is not None and len(note) > LONGEST_TEXT:
        raise Invalid(
            sentence(
                "The note is {note} characters long: at most {longest_text} are allowed.",
                note=len(note),
                longest_text=LONGEST_TEXT,
            ),
            errors=[
                {
                    "field": "note",
                    "detail": sentence(
                        "at most {longest_text} characters", longest_text=LONGEST_TEXT
                    ),
                }
            ],
        )
    person = resolve_person(tx, command.by) if command.by else None
    return WhoAndWhen(at, present, person.id if person else None, note)


def in_utc(at: datetime) -> datetime:
    """The same instant in UTC.

    Raises:
        Invalid: It has no offset.
    """
    if at.tzinfo is None:
        raise Invalid(
            sentence(
                "{at} has no offset: write it like 2026-03-29T01:30:00+01:00.",
                at=at.isoformat(),
            ),
            errors=[{"field": "at", "detail": sentence("has no offset")}],
        )
    return at.astimezone(UTC)


def record(tx: Tx, kind: str, told: WhoAndWhen, *, reverses_id: int | None = None) -> int:
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


def place_after(told: WhoAndWhen, earliest: datetime | None) -> WhoAndWhen:
    """The fact at the instant of one that it follows, where that is a little ahead of now.

    Our own clock may have been set back since that one was recorded. What happens now happens
    after it all the same. Any other fact comes back as it is, also one that lies before.
    """
    if earliest is None or not told.present < earliest <= told.present + CLOCK_TOLERANCE:
        return told
    if not told.present - _UNDER_WAY <= told.at < earliest:
        return told
    return replace(told, at=earliest)


def refuse_before(told: WhoAndWhen, earliest: datetime | None, what: str) -> WhoAndWhen:
    """Refuse a fact that would lie before another that it follows from.

    Args:
        told: When it is said to have happened.
        earliest: When the other happened; None where there is none.
        what: The other as a clause, like "tool A000017 was built".

    Returns:
        The fact as it is recorded (``place_after``).

    Raises:
        Conflict: It lies before.
    """
    told = place_after(told, earliest)
    if earliest is not None and told.at < earliest:
        at = print_instant(told.at)
        raise Conflict(
            sentence(
                "{at} is too early: {what} at {earliest}. Check the time.",
                at=at,
                what=what,
                earliest=print_instant(earliest),
            ),
            facts={"at": at, "earliest": print_instant(earliest)},
            errors=[
                {
                    "field": "at",
                    "detail": sentence("before {earliest}", earliest=print_instant(earliest)),
                }
            ],
        )
    return told
