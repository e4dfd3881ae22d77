"""Cutting data of one station and part: operations, constants, limits; nothing else is read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, Final

from sqlalchemy import RowMapping, Select, bindparam, func, select

from crib.cutting.contradictions import contradictions
from crib.cutting.operations import CutOperation
from crib.errors import Damaged
from crib.life.taylor import TaylorConstants
from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import metadata

_T = metadata.tables
_operations, _parts, _items = _T["operations"], _T["parts"], _T["cutting_items"]
_life, _lots = _T["tool_life"], _T["lots"]

#: Where the shop's own constants come from when their row does not say.
SHOPS_OWN: Final = sentence("the shop's tool_life.csv")

#: Columns of an operation that its time in cut depends on.
OPERATION_COLUMNS = tuple(
    _operations.c[field.name] for field in fields(CutOperation) if field.name in _operations.c
)

#: Columns of a tool-life row that make its curve, and its source.
CURVE_COLUMNS = (*(_life.c[field.name] for field in fields(TaylorConstants)), _life.c.source)

_OPERATIONS: Select[Any] = (
    select(*OPERATION_COLUMNS)
    .where(
        _operations.c.part_id == bindparam("of_part_id"),
        _operations.c.tool_number == bindparam("number"),
        func.coalesce(_operations.c.path, 1) == bindparam("of_path"),
    )
    .order_by(_operations.c.sequence)
)
_GROUP = select(_parts.c.material_group).where(_parts.c.id == bindparam("id"))
_ITEM: Select[Any] = (
    select(_items.c.id, _items.c.tool_material)
    .join(_lots, _lots.c.cutting_item_id == _items.c.id)
    .where(_lots.c.id == bindparam("of_lot_id"))
)
_CONSTANTS: Select[Any] = (
    select(*CURVE_COLUMNS)
    .where(
        _life.c.material_group == bindparam("group"),
        (_life.c.cutting_item_id == bindparam("item_id"))
        | (
            _life.c.cutting_item_id.is_(None)
            & (_life.c.tool_material == bindparam("tool_material"))
        ),
        _life.c.retired_at.is_(None),
    )
    .order_by(_life.c.cutting_item_id.is_(None))
    .limit(1)
)


def operation_from_row(row: RowMapping) -> CutOperation:
    """An operation from a row with ``OPERATION_COLUMNS`` (others are not looked at)."""
    names = (column.name for column in OPERATION_COLUMNS)
    return CutOperation(**{name: row[name] for name in names if row[name] is not None})


def constants_from_row(row: RowMapping) -> tuple[TaylorConstants, str]:
    """A curve and its source from a row with ``CURVE_COLUMNS``; no exponent counts as 0.

    Raises:
        Damaged: A column holds no number.
    """
    names = (field.name for field in fields(TaylorConstants))
    try:
        curve = TaylorConstants(**{name: row[name] for name in names if row[name] is not None})
    except TypeError as problem:
        raise Damaged(
            sentence(
                "Tool-life constants cannot be read. Run crib check: it names what is damaged."
            )
        ) from problem
    return curve, row["source"] or SHOPS_OWN


def contradiction_of(operation: CutOperation) -> str | None:
    """What contradicts itself in an operation that was stored before that was refused."""
    found = contradictions(operation)
    return together("; ", (together(" ", (one.column, one.reason)) for one in found)) or None


def contradicted_operations(tx: Tx) -> Iterator[str]:
    """Every stored operation whose columns contradict each other, a sentence each."""
    table = _operations.join(_parts, _parts.c.id == _operations.c.part_id)
    rows = select(_parts.c.part, _operations.c.sequence, *OPERATION_COLUMNS).select_from(table)
    for row in tx.execute(rows.order_by(_parts.c.part, _operations.c.sequence)).mappings():
        if told := contradiction_of(operation_from_row(row)):
            yield sentence(
                "Part {part}, operation {sequence}: {told}.",
                part=row["part"],
                sequence=row["sequence"],
                told=told,
            )


@dataclass(frozen=True, slots=True)
class ItemRow:
    """A cutting item as far as its wear is concerned."""

    id: int
    tool_material: str | None


def operations_of(tx: Tx, part_id: int, tool_number: int, path: int) -> list[CutOperation]:
    """What a part's program cuts under a tool number of a path, in order."""
    rows = tx.execute(
        _OPERATIONS, {"of_part_id": part_id, "number": tool_number, "of_path": path}
    )
    return [operation_from_row(row) for row in rows.mappings()]


def material_group(tx: Tx, part_id: int) -> str:
    """ISO 513 group of a part's material."""
    return str(tx.execute(_GROUP, {"id": part_id}).scalar_one())


def item_of_lot(tx: Tx, lot_id: int) -> ItemRow:
    """The cutting item of a lot."""
    return named(ItemRow, tx.execute(_ITEM, {"of_lot_id": lot_id}).one())


def constants_for(tx: Tx, item: ItemRow, group: str) -> tuple[TaylorConstants | None, str]:
    """The shop's constants of an item in a material group and their source.

    Those of the item itself come before those of its tool material.
    """
    found = tx.execute(
        _CONSTANTS,
        {"group": group, "item_id": item.id, "tool_material": item.tool_material},
    )
    row = found.mappings().one_or_none()
    return (None, "") if row is None else constants_from_row(row)
