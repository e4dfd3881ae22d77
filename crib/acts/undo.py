"""Undoing a touch at once: the same person, within minutes, by an ordinary reversal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.clock import print_instant
from crib.errors import Conflict, NotKnown
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.resolve import resolve_person
from crib.store.undone_rows import Touched, touched

#: How long the page that confirms a touch offers to undo it; common practice, no source.
UNDO_WITHIN = timedelta(minutes=10)

#: Most facts that one touch records (an offset step of three axes).
MOST_FACTS = 3


@dataclass(frozen=True, slots=True)
class Undo:
    """Undo what one touch recorded.

    Attributes:
        fact_ids: Its facts.
        by: Code of the person who undoes it; None where not given.
    """

    fact_ids: Sequence[int]
    by: str | None = None


def undo(tx: Tx, present: datetime, command: Undo) -> None:
    """Take back every fact of a touch, or none; what is taken back already stays so.

    Raises:
        NotKnown: One of them is no fact of a touch.
        Conflict: Somebody else recorded it, it is too old, or something was built on it since.
    """
    person = resolve_person(tx, command.by).id if command.by else None
    for one in reversed(_facts(tx, command.fact_ids)):
        if one.undone_by_id is not None:
            continue
        refusal = _refusal(one, present, person)
        if refusal is not None:
            raise refusal
        reverse_fact(tx, present, ReverseFact(one.fact_id, by=command.by))


def can_undo(tx: Tx, present: datetime, command: Undo) -> bool:
    """Whether to offer it: all stand, are young and are the person's own."""
    person = resolve_person(tx, command.by).id if command.by else None
    return all(
        one.undone_by_id is None and _refusal(one, present, person) is None
        for one in _facts(tx, command.fact_ids)
    )


def undone(tx: Tx, fact_ids: Sequence[int]) -> tuple[Touched, ...]:
    """The facts of a touch that was undone.

    Raises:
        NotKnown: One of them stands, or is no fact of a touch.
    """
    found = _facts(tx, fact_ids)
    for one in found:
        if one.undone_by_id is None:
            raise NotKnown(
                sentence("Fact {fact_id} was not undone.", fact_id=one.fact_id),
                facts={"fact": one.fact_id},
            )
    return found


def _facts(tx: Tx, fact_ids: Sequence[int]) -> tuple[Touched, ...]:
    asked = sorted(set(fact_ids))
    found = touched(tx, asked) if 0 < len(asked) <= MOST_FACTS else ()
    if not found or [one.fact_id for one in found] != asked:
        named = ", ".join(str(number) for number in asked[:MOST_FACTS]) or sentence("none")
        raise NotKnown(sentence("There is nothing to undo under number {named}.", named=named))
    return found


def _refusal(one: Touched, present: datetime, person: int | None) -> Conflict | None:
    """Why a fact is not undone by one touch; None where it may be."""
    facts = {"fact_id": one.fact_id}
    instead = sentence("take fact {fact_id} back with POST /v1/reversals", fact_id=one.fact_id)
    if one.person_id is not None and one.person_id != person:
        return Conflict(
            sentence(
                "{person} recorded that: only {person} can undo it here. Otherwise {instead}.",
                person=one.person,
                instead=instead,
            ),
            facts=facts,
        )
    if present > one.recorded_at + UNDO_WITHIN:
        minutes = int(UNDO_WITHIN.total_seconds() // 60)
        return Conflict(
            sentence(
                "Recorded at {recorded_at}: it can be undone for {minutes} minutes only. Now "
                "{instead}.",
                recorded_at=print_instant(one.recorded_at),
                minutes=minutes,
                instead=instead,
            ),
            facts=facts,
        )
    return None
