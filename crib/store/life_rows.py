"""Rows of lives whose record a person said is right."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import bindparam, insert, select

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import facts, life_confirmations, metadata

people = metadata.tables["people"]
_INSERT = insert(life_confirmations)
_STANDING = (
    select(
        life_confirmations.c.removal_id,
        life_confirmations.c.fact_id,
        life_confirmations.c.parts,
        facts.c.at,
        people.c.name.label("by"),
    )
    .join(facts, facts.c.id == life_confirmations.c.fact_id)
    .outerjoin(people, people.c.id == facts.c.person_id)
    .where(
        life_confirmations.c.removal_id.in_(bindparam("removals", expanding=True)),
        stands(life_confirmations.c.fact_id),
    )
    .order_by(life_confirmations.c.fact_id)
)


class LifeConfirmationRow(NamedTuple):
    """A confirmation that stands.

    Attributes:
        removal_id: The removal that ended the life.
        fact_id: Its fact.
        parts: Parts that the edge had made, as the person saw them.
        at: When.
        by: Name of who said so.
    """

    removal_id: int
    fact_id: int
    parts: int
    at: datetime
    by: str | None


def insert_life_confirmation(tx: Tx, fact_id: int, removal_id: int, parts: int) -> None:
    """Write that a person said so."""
    tx.execute(_INSERT, {"fact_id": fact_id, "removal_id": removal_id, "parts": parts})


def standing_confirmations(tx: Tx, removals: Collection[int]) -> dict[int, LifeConfirmationRow]:
    """The last confirmation that stands of each life, by the removal that ended it."""
    found = tx.execute(_STANDING, {"removals": list(removals)})
    return {row.removal_id: named(LifeConfirmationRow, row) for row in found}
