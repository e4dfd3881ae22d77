"""A person says of a question about a tool: the records are right, ask no more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.errors import Conflict, Invalid
from crib.store.dismissal_rows import dismissed_station, insert_dismissal
from crib.store.engine import Tx
from crib.store.resolve import resolve_station
from crib.store.stations import station_row
from crib.usecases.questions import list_questions, sighting_of
from crib.usecases.said import record, said


@dataclass(frozen=True, slots=True)
class DismissQuestion:
    """Dismiss a question.

    Attributes:
        station: Code of the station or MACHINE/STATION.
        says: What the machine calls the tool there, as the question says it.
        by: Badge or code of the person who says so.
        note: Why.
    """

    station: str
    says: str
    by: str | None = None
    note: str | None = None
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class QuestionDismissed:
    """A question that nobody is asked any more.

    Attributes:
        fact_id: The dismissal.
        station: MACHINE/STATION.
        says: What the machine calls the tool there.
        since: Since when it says so.
        at: When the question was dismissed.
        sentence: What is so now.
    """

    fact_id: int
    station: str
    says: str
    since: datetime
    at: datetime
    sentence: str


def dismiss_question(tx: Tx, present: datetime, command: DismissQuestion) -> QuestionDismissed:
    """Ask no more about a tool that a machine names in a station; can be taken back.

    It is asked about anew when the machine names it again after another one, or when
    another stay (or none any more) is on record there.

    Raises:
        Conflict: No such question is open.
        Invalid: Nobody says so, or not why.
        NotKnown: No such station.
    """
    told = said(tx, present, command)
    if told.person_id is None:
        raise Invalid(
            "Say who dismisses the question: a badge or code.",
            errors=[{"field": "by", "detail": "is missing"}],
        )
    if told.note is None:
        raise Invalid(
            "Say why nobody need be asked: what was looked at, and what is so.",
            errors=[{"field": "note", "detail": "is missing"}],
        )
    station = station_row(tx, resolve_station(tx, command.station).id)
    for one in list_questions(tx, present, station.machine_id):
        if one.station_code == station.code and one.says == command.says:
            break
    else:
        raise Conflict(
            f"No question about '{command.says[:60]}' in {station.mark} is open: it was "
            "answered or dismissed since.",
            facts={"station": station.mark},
        )
    fact_id = record(tx, "question_dismissal", told)
    insert_dismissal(tx, fact_id, sighting_of(station.id, one), one.since)
    return QuestionDismissed(
        fact_id,
        station.mark,
        one.says,
        one.since,
        told.at,
        f"Nobody is asked about '{one.says}' in {station.mark} until the machine names it "
        "anew, or a tool is recorded in or out there.",
    )


def take_back_dismissal(tx: Tx, fact_id: int) -> str:
    """What is so once a dismissal is taken back, for a person."""
    return (
        f"The question about {dismissed_station(tx, fact_id)} is asked again, for as long as "
        "machine and records disagree."
    )
