"""Rows of what was decided for unattended stretches of machines."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import insert, select

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import facts, metadata, night_choices

machines, people = metadata.tables["machines"], metadata.tables["people"]
_INSERT = insert(night_choices)


class NightChoiceRow(NamedTuple):
    """A decision that stands.

    Attributes:
        fact_id: Its fact.
        machine: Name of the machine.
        begins_at: Begin of the stretch.
        ends_at: Its end.
        choice: One of ``NIGHT_CHOICES``.
        until: When to stop, where that was decided.
        at: When it was decided.
        by: Name of who decided.
    """

    fact_id: int
    machine: str
    begins_at: datetime
    ends_at: datetime
    choice: str
    until: datetime | None
    at: datetime
    by: str | None


def insert_night_choice(
    tx: Tx,
    fact_id: int,
    machine_id: int,
    begins_at: datetime,
    ends_at: datetime,
    choice: str,
    until: datetime | None,
) -> None:
    """Write a decision."""
    tx.execute(
        _INSERT,
        {
            "fact_id": fact_id,
            "machine_id": machine_id,
            "begins_at": begins_at,
            "ends_at": ends_at,
            "choice": choice,
            "until": until,
        },
    )


def night_choices_after(tx: Tx, at: datetime) -> list[NightChoiceRow]:
    """The decisions that stand for stretches not over at an instant, the newest first."""
    found = tx.execute(
        select(
            night_choices.c.fact_id,
            machines.c.machine,
            night_choices.c.begins_at,
            night_choices.c.ends_at,
            night_choices.c.choice,
            night_choices.c.until,
            facts.c.at,
            people.c.name.label("by"),
        )
        .join(facts, facts.c.id == night_choices.c.fact_id)
        .join(machines, machines.c.id == night_choices.c.machine_id)
        .outerjoin(people, people.c.id == facts.c.person_id)
        .where(night_choices.c.ends_at > at, stands(night_choices.c.fact_id))
        .order_by(facts.c.at.desc(), night_choices.c.fact_id.desc())
    )
    return [named(NightChoiceRow, row) for row in found]
