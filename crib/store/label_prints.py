"""Rows of labels that were printed: which code, of which preset, on what, when, by whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import bindparam, insert, select

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.named_rows import named, rows_by_name
from crib.store.tables import facts, label_prints, metadata

_people = metadata.tables["people"]

_INSERT = insert(label_prints)
_OF_LABEL = (
    select(
        facts.c.id.label("fact_id"),
        facts.c.at,
        _people.c.name.label("by"),
        label_prints.c.stock,
        label_prints.c.reason,
        label_prints.c.queue,
    )
    .join(facts, facts.c.id == label_prints.c.fact_id)
    .outerjoin(_people, _people.c.id == facts.c.person_id)
    .where(
        label_prints.c.code == bindparam("of_code"),
        label_prints.c.preset_id.is_not_distinct_from(bindparam("of_preset_id")),
        stands(facts.c.id),
    )
    .order_by(facts.c.id)
)
_LAST_LABEL = (
    select(label_prints.c.code, label_prints.c.preset_id)
    .join(facts, facts.c.id == label_prints.c.fact_id)
    .where(label_prints.c.assembly_id == bindparam("of_assembly_id"), stands(facts.c.id))
    .order_by(facts.c.id.desc())
    .limit(1)
)


class LabelPrinted(NamedTuple):
    """The code of a label, and the preset that it shows."""

    code: str
    preset_id: int | None


@dataclass(frozen=True, slots=True)
class PrintRow:
    """One print of a label.

    Attributes:
        fact_id: The fact.
        at: When.
        by: Name of who printed it.
        stock: On which label stock.
        reason: Why it was printed again.
        queue: The print queue that took it; None where it was opened to be printed.
    """

    fact_id: int
    at: datetime
    by: str | None
    stock: str
    reason: str | None
    queue: str | None


def prints_of_label(tx: Tx, code: str, preset_id: int | None) -> tuple[PrintRow, ...]:
    """Standing prints of a code as it shows a preset, the first first."""
    asked = {"of_code": code, "of_preset_id": preset_id}
    return tuple(named(PrintRow, row) for row in tx.execute(_OF_LABEL, asked).all())


def label_printed_last(tx: Tx, assembly_id: int) -> LabelPrinted | None:
    """The label of an assembly that was printed last, if one was: it is on the tool."""
    found = tx.execute(_LAST_LABEL, {"of_assembly_id": assembly_id})
    return next(iter(rows_by_name(LabelPrinted, found)), None)


def insert_print(
    tx: Tx,
    fact_id: int,
    *,
    assembly_id: int,
    code: str,
    preset_id: int | None,
    stock: str,
    reason: str | None,
    queue: str | None,
) -> None:
    """Write that a label was printed."""
    tx.execute(
        _INSERT,
        {
            "fact_id": fact_id,
            "assembly_id": assembly_id,
            "code": code,
            "preset_id": preset_id,
            "stock": stock,
            "reason": reason,
            "queue": queue,
        },
    )
