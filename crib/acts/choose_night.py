"""A person decides what a machine does while nobody is there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.who_and_when import in_utc, record, who_and_when
from crib.clock import print_instant
from crib.errors import Conflict, Invalid
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.night_rows import insert_night_choice
from crib.store.resolve import machine_id_by_name
from crib.store.tables import NIGHT_CHOICES

#: What can be decided: run as it stands, run after swaps, run until an instant, let it stand.
CHOICES = NIGHT_CHOICES


@dataclass(frozen=True, slots=True)
class ChooseNight:
    """Decide what a machine does in one unattended stretch.

    Attributes:
        machine: Name of the machine.
        begins_at: Begin of the stretch.
        ends_at: Its end.
        choice: One of ``CHOICES``.
        until: When to stop; with choice ``until`` alone.
        by: Badge or code of who decides.
    """

    machine: str
    begins_at: datetime
    ends_at: datetime
    choice: str
    until: datetime | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class NightChosen:
    """A decision on record."""

    fact_id: int
    machine: str
    at: datetime
    begins_at: datetime
    ends_at: datetime
    choice: str
    until: datetime | None


def choose_night(tx: Tx, present: datetime, command: ChooseNight) -> NightChosen:
    """Record what was decided; it takes the place of an earlier decision for that stretch.

    Raises:
        Conflict: The stretch is over.
        Invalid: Nobody decides, the choice is not known, or its times contradict each other.
        NotKnown: No such machine or person.
    """
    told = who_and_when(tx, present, command)
    if told.person_id is None:
        raise _wrong("by", sentence("Say who decides: a badge or code."))
    machine_id = machine_id_by_name(tx, command.machine)
    begins_at, ends_at = in_utc(command.begins_at), in_utc(command.ends_at)
    until = None if command.until is None else in_utc(command.until)
    if command.choice not in CHOICES:
        raise _wrong(
            "choice",
            sentence("The choice is one of {choices}.", choices=", ".join(CHOICES)),
        )
    if ends_at <= begins_at:
        raise _wrong("ends_at", sentence("The night would end before it begins."))
    if (command.choice == "until") != (until is not None):
        raise _wrong("until", sentence("Give a time to stop with the choice until alone."))
    if until is not None and not begins_at < until <= ends_at:
        raise _wrong(
            "until",
            sentence(
                "The time to stop lies outside the night: it runs from {begin} to {end}.",
                begin=print_instant(begins_at),
                end=print_instant(ends_at),
            ),
        )
    if ends_at <= told.at:
        raise Conflict(
            sentence(
                "That night ended at {end}: decide the next one.", end=print_instant(ends_at)
            ),
            facts={"machine": command.machine, "ends_at": ends_at.isoformat()},
        )
    fact_id = record(tx, "night_choice", told)
    insert_night_choice(tx, fact_id, machine_id, begins_at, ends_at, command.choice, until)
    return NightChosen(
        fact_id, command.machine.strip(), told.at, begins_at, ends_at, command.choice, until
    )


def _wrong(field: str, detail: str) -> Invalid:
    return Invalid(detail, errors=[{"field": field, "detail": detail}])
