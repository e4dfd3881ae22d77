"""The list of facts: who said what happened when, and what was taken back."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import Select, func, select, text

from crib.clock import us_from_instant
from crib.errors import Conflict, NotKnown
from crib.sentence import sentence
from crib.store.engine import Tx, raw
from crib.store.sound_rows import sound_rows
from crib.store.tables import facts, metadata

_PEOPLE = metadata.tables["people"]
_REVERSAL = facts.alias("reversal")
_SELECT = (
    select(
        facts.c.id,
        facts.c.kind,
        facts.c.at,
        facts.c.recorded_at,
        facts.c.person_id,
        _PEOPLE.c.badge.label("by"),
        _PEOPLE.c.name.label("by_name"),
        facts.c.note,
        facts.c.reverses_id,
        _REVERSAL.c.id.label("reversed_by_id"),
    )
    .select_from(facts)
    .outerjoin(_PEOPLE, _PEOPLE.c.id == facts.c.person_id)
    .outerjoin(_REVERSAL, _REVERSAL.c.reverses_id == facts.c.id)
)

#: Later than every instant [µs].
NEVER_US = 2**62
_FIRST_AHEAD = text(
    "SELECT min(at) FROM facts WHERE id > :after_id AND at > :after_us AND kind <> 'count'"
)


def last_fact_id(tx: Tx) -> int:
    """Id of the fact that was recorded last; 0 where there is none."""
    found: int | None = tx.execute(select(func.max(facts.c.id))).scalar()
    return found or 0


def first_ahead(tx: Tx, after_id: int, after_us: int) -> int:
    """The first instant later than one that a fact of stays, stock or presets is dated [µs].

    Counts are left aside: their readings have instants of their own.

    Args:
        tx: An open transaction.
        after_id: Facts up to this one are not looked at.
        after_us: The instant [µs].

    Returns:
        The instant; ``NEVER_US`` where there is none.
    """
    found: int | None = tx.execute(
        _FIRST_AHEAD, {"after_id": after_id, "after_us": after_us}
    ).scalar()
    return NEVER_US if found is None else found


def add_fact(
    tx: Tx,
    kind: str,
    at: datetime,
    recorded_at: datetime,
    person_id: int | None,
    note: str | None = None,
    reverses_id: int | None = None,
) -> int:
    """Record that something happened; what it was goes into the table of its kind.

    Args:
        tx: A write transaction.
        kind: A kind that the table knows; ``reversal`` needs ``reverses_id``.
        at: When it happened.
        recorded_at: When it was said.
        person_id: Who said so.
        note: What they added.
        reverses_id: The fact that this one takes back.

    Returns:
        The fact's id: ascending, never given twice.

    Raises:
        Conflict: The fact was reversed before, or is a reversal itself.
        NotKnown: There is no fact to reverse.
    """
    if reverses_id is not None:
        reversed_fact = get_fact(tx, reverses_id)
        if reversed_fact["kind"] == "reversal":
            raise Conflict(sentence("A reversal cannot be taken back: record the fact again."))
        if reversed_fact["reversed_by_id"] is not None:
            raise Conflict(
                sentence(
                    "Fact {reverses_id} was taken back already, by fact {reversed_by_id}.",
                    reverses_id=reverses_id,
                    reversed_by_id=reversed_fact["reversed_by_id"],
                ),
                facts={"reversed_by_id": reversed_fact["reversed_by_id"]},
            )
    return int(
        tx.exec_driver_sql(
            "INSERT INTO facts (kind, at, recorded_at, person_id, note, reverses_id)"
            " VALUES (?, ?, ?, ?, ?, ?) RETURNING id",
            (
                kind,
                us_from_instant(at),
                us_from_instant(recorded_at),
                person_id,
                note,
                reverses_id,
            ),
        ).scalar_one()
    )


def get_fact(tx: Tx, fact_id: int) -> dict[str, Any]:
    """One fact, with who said it (``by``, ``by_name``) and what reversed it.

    Raises:
        NotKnown: There is none of that number.
    """
    row = tx.execute(_SELECT.where(facts.c.id == fact_id)).mappings().first()
    if row is None:
        raise NotKnown(
            sentence("There is no fact {fact_id} here.", fact_id=fact_id),
            facts={"fact_id": fact_id},
        )
    return dict(row)


def list_facts(
    tx: Tx,
    *,
    kinds: Collection[str] = (),
    person_id: int | None = None,
    at_from: datetime | None = None,
    at_before: datetime | None = None,
    before_id: int | None = None,
    limit: int = 100,
) -> tuple[list[dict[str, Any]], list[int]]:
    """Facts, the one recorded last first, as ``get_fact`` gives them.

    The ids of those that cannot be read come beside them.

    Args:
        tx: An open transaction.
        kinds: Only these kinds; none for all.
        person_id: Only what this person said.
        at_from: Only what happened then or later.
        at_before: Only what happened before that.
        before_id: Only ids below (the last one of the page before).
        limit: How many at most.
    """
    statement = _filtered(_SELECT, kinds, person_id, at_from, at_before)
    if before_id is not None:
        statement = statement.where(facts.c.id < before_id)
    statement = statement.order_by(facts.c.id.desc()).limit(limit)
    return sound_rows(
        tx, statement, facts.c.id, lambda rows: [dict(row._mapping) for row in rows]
    )


def first_recorded_us(tx: Tx) -> int | None:
    """When the first fact was recorded [µs since 1970]; None where nobody knows."""
    row = raw(tx).execute("SELECT recorded_at FROM facts ORDER BY id LIMIT 1").fetchone()
    return row[0] if row and isinstance(row[0], int) else None


def _filtered(
    statement: Select[Any],
    kinds: Collection[str],
    person_id: int | None,
    at_from: datetime | None,
    at_before: datetime | None,
) -> Select[Any]:
    if kinds:
        statement = statement.where(facts.c.kind.in_(list(kinds)))
    if person_id is not None:
        statement = statement.where(facts.c.person_id == person_id)
    if at_from is not None:
        statement = statement.where(facts.c.at >= at_from)
    if at_before is not None:
        statement = statement.where(facts.c.at < at_before)
    return statement
