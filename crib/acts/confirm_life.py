"""A person says that the record of an edge's life is right."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.who_and_when import record, refuse_before, who_and_when
from crib.errors import Conflict, Invalid, NotKnown
from crib.sentence import sentence
from crib.store.assemblies import assembly_row
from crib.store.engine import Tx
from crib.store.facts import get_fact
from crib.store.life_rows import insert_life_confirmation, standing_confirmations
from crib.store.mounts import mount_row, removed_mount_id


@dataclass(frozen=True, slots=True)
class ConfirmLife:
    """Confirm the record of a life.

    Attributes:
        removal_id: The removal that ended it.
        parts: Parts that the edge made, as the person saw them.
        by: Badge or code of the person who says so.
    """

    removal_id: int
    parts: int
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class LifeConfirmed:
    """A confirmation on record.

    Attributes:
        fact_id: The confirmation.
        removal_id: The removal that ended the life.
        assembly: Code of the tool.
        parts: Parts that its edge made.
        at: When it was confirmed.
        sentence: The outcome, for a person to read.
    """

    fact_id: int
    removal_id: int
    assembly: str
    parts: int
    at: datetime
    sentence: str


def confirm_life(tx: Tx, present: datetime, command: ConfirmLife) -> LifeConfirmed:
    """Record that a life is right as it was written; the forecast then counts it in full.

    It holds for as long as the removal stands and the edge's parts stay the same, and can be
    taken back.

    Raises:
        Conflict: The removal was taken back, or the life is confirmed already.
        Invalid: Nobody says so.
        NotKnown: No such removal or person.
    """
    told = who_and_when(tx, present, command)
    if told.person_id is None:
        raise Invalid(
            sentence("Say who confirms it: a badge or code."),
            errors=[{"field": "by", "detail": sentence("is missing")}],
        )
    removal = get_fact(tx, command.removal_id)
    if removal["kind"] != "removal":
        raise NotKnown(
            sentence("Fact {fact_id} is no removal.", fact_id=command.removal_id),
            facts={"fact_id": command.removal_id, "kind": removal["kind"]},
        )
    mount = mount_row(tx, removed_mount_id(tx, command.removal_id))
    if removal["reversed_by_id"] is not None or mount is None:
        raise Conflict(
            sentence(
                "Removal {fact_id} was taken back: that life is not over.",
                fact_id=command.removal_id,
            ),
            facts={"fact_id": command.removal_id},
        )
    known = standing_confirmations(tx, [command.removal_id]).get(command.removal_id)
    if known is not None and known.parts == command.parts:
        raise Conflict(
            sentence(
                "That life is confirmed already, by {name}.",
                name=known.by or sentence("somebody"),
            ),
            facts={"fact_id": known.fact_id},
        )
    told = refuse_before(told, removal["at"], sentence("the tool came out"))
    tool = assembly_row(tx, mount.assembly_id).code
    fact_id = record(tx, "life_confirmation", told)
    insert_life_confirmation(tx, fact_id, command.removal_id, command.parts)
    return LifeConfirmed(
        fact_id,
        command.removal_id,
        tool,
        command.parts,
        told.at,
        sentence(
            "The life of {tool}'s edge counts as it was written: {parts} parts.",
            tool=tool,
            parts=command.parts,
        ),
    )
