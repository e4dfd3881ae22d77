"""Rows that name a row that is not there: only a file that was damaged holds any."""

from __future__ import annotations

from collections import defaultdict
from typing import Final

from crib.sentence import Sentence, sentence
from crib.store.engine import Tx, raw
from crib.store.engines.chosen import CHECKS

#: Tables of what a plan is made of, but for readings: of these there may be a million.
_OF_PLANS: Final = (
    "machines", "stations", "calendar_spans", "closures", "runs", "parts", "operations",
    "tool_specs", "tool_spec_items", "tool_life", "cutting_items", "holders", "lots", "pieces",
    "edge_uses", "stock_moves", "assemblies", "presets", "mounts", "removals", "corrections",
    "teardowns", "breakages", "station_state", "assembly_state", "label_codes",
)  # fmt: skip

#: At most so many rows of one kind of damage are named.
_EXAMPLES: Final = 5


def dangling_rows(tx: Tx) -> tuple[Sentence, ...]:
    """What a plan is made without since it names nothing, a sentence a kind.

    Args:
        tx: An open transaction.
    """
    driver = raw(tx)
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    for table in _OF_PLANS:
        for row_id, named in CHECKS.dangling_rows(driver, table):
            found[table, named].append(str(row_id or "?"))
    return tuple(_said(table, named, rows) for (table, named), rows in found.items())


def _said(table: str, named: str, rows: list[str]) -> Sentence:
    if len(rows) == 1:
        return sentence(
            "Row {row} of {table} names a row of {named} that is not there. The plan goes on "
            "without it. Run crib check, then restore a backup.",
            row=rows[0],
            table=table,
            named=named,
        )
    shown = ", ".join(rows[:_EXAMPLES]) + (" …" if len(rows) > _EXAMPLES else "")
    return sentence(
        "Rows {shown} of {table} name rows of {named} that are not there. The plan goes on "
        "without them. Run crib check, then restore a backup.",
        shown=shown,
        table=table,
        named=named,
    )
