"""A person says of a question about a tool: the records are right, ask no more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.questions import list_questions, sighting_of
from crib.acts.unclear_breakages import open_breakage
from crib.acts.who_and_when import WhoAndWhen, record, who_and_when
from crib.clock import print_instant
from crib.errors import Conflict, Invalid
from crib.sentence import sentence
from crib.store.dismissal_rows import Sighting, dismissed_station, insert_dismissal
from crib.store.doubt_rows import answered_machine, insert_answer
from crib.store.engine import Tx
from crib.store.resolve import resolve_station
from crib.store.stations import station_row


@dataclass(frozen=True, slots=True)
class DismissQuestion:
    """Dismiss a question.

    Attributes:
        station: Code of the station or MACHINE/STATION, with ``says``; or ``question``.
        says: What the machine calls the tool there, as the question says it.
        question: Number of a breakage of nobody knows which tool: none broke.
        by: Badge or code of the person who says so.
        note: Why.
    """

    station: str | None = None
    says: str | None = None
    by: str | None = None
    note: str | None = None
    at: datetime | None = None
    question: int | None = None


@dataclass(frozen=True, slots=True)
class QuestionDismissed:
    """A question that nobody is asked any more.

    Attributes:
        fact_id: The dismissal.
        station: MACHINE/STATION; the machine alone of a breakage.
        says: What the machine calls the tool there, or the breakage.
        since: Since when it says so.
        at: When the question was dismissed.
        sentence: The outcome, for a person to read.
    """

    fact_id: int
    station: str
    says: str
    since: datetime
    at: datetime
    sentence: str


def dismiss_question(tx: Tx, present: datetime, command: DismissQuestion) -> QuestionDismissed:
    """Ask no more about a tool that a machine names in a station; can be taken back.

    It is asked again when the machine names the tool again after another one, or when
    another stay (or none any more) is on record there.

    Raises:
        Conflict: No such question is open.
        Invalid: Nobody says so, or not why, or not which question.
        NotKnown: No such station.
    """
    told = who_and_when(tx, present, command)
    if told.person_id is None:
        raise Invalid(
            sentence("Say who dismisses the question: a badge or code."),
            errors=[{"field": "by", "detail": sentence("is missing")}],
        )
    if told.note is None:
        raise Invalid(
            sentence(
                "Say why the question can be dismissed: what you looked at, and what you found."
            ),
            errors=[{"field": "note", "detail": sentence("is missing")}],
        )
    if command.question is not None:
        return _none_broke(tx, told, command.question)
    if command.station is None or command.says is None:
        raise Invalid(
            sentence(
                "Say which question: its station and what the machine says, or its number."
            ),
            errors=[{"field": "station", "detail": sentence("this and says, or question")}],
        )
    station = station_row(tx, resolve_station(tx, command.station).id)
    for one in list_questions(tx, present, station.machine_id):
        if one.station_code == station.code and one.says == command.says:
            break
    else:
        raise Conflict(
            sentence(
                "No question about '{says}' in {mark} is open: it was answered or "
                "dismissed since.",
                says=command.says[:60],
                mark=station.mark,
            ),
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
        sentence(
            "The question about '{says}' in {mark} is closed. It comes back when "
            "the machine names it again, or when a tool is recorded in or out "
            "there.",
            says=one.says,
            mark=station.mark,
        ),
    )


def _none_broke(tx: Tx, told: WhoAndWhen, number: int) -> QuestionDismissed:
    doubt = open_breakage(tx, number)
    known = doubt.told
    fact_id = record(tx, "question_dismissal", told)
    about = Sighting(None, known.path, known.tool_number, known.signal, None)
    insert_dismissal(tx, fact_id, about, known.at)
    insert_answer(tx, fact_id, number)
    return QuestionDismissed(
        fact_id,
        doubt.machine,
        known.signal,
        known.at,
        told.at,
        sentence(
            "No tool of machine {machine} broke at {at}. The question is closed.",
            machine=doubt.machine,
            at=print_instant(known.at),
        ),
    )


def take_back_dismissal(tx: Tx, fact_id: int) -> str:
    """The outcome of taking a dismissal back, for a person to read."""
    machine = answered_machine(tx, fact_id)
    if machine is not None:
        return sentence(
            "The question which tool of machine {machine} broke is asked again.",
            machine=machine,
        )
    return sentence(
        "The question about {dismissed_station} is asked again, for as long as "
        "machine and records disagree.",
        dismissed_station=dismissed_station(tx, fact_id),
    )
