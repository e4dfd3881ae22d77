"""Cutting data of one station and part: operations, constants, limits; nothing else is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, bindparam, func, select

from crib.cutting.operations import CutOperation
from crib.life.taylor import TaylorConstants
from crib.store.engine import Tx
from crib.store.tables import metadata

_T = metadata.tables
_operations, _parts, _items = _T["operations"], _T["parts"], _T["cutting_items"]
_life, _lots = _T["tool_life"], _T["lots"]

_OPERATIONS: Select[Any] = (
    select(
        _operations.c.kind,
        _operations.c.start_diameter_mm,
        _operations.c.end_diameter_mm,
        _operations.c.length_mm,
        _operations.c.feed_mm_rev,
        _operations.c.depth_mm,
        _operations.c.passes,
        _operations.c.cutting_speed_m_min,
        _operations.c.spindle_rpm,
        _operations.c.engaged_s,
    )
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
    select(
        _life.c.n,
        _life.c.c_m_min,
        func.coalesce(_life.c.feed_exponent, 0.0),
        func.coalesce(_life.c.depth_exponent, 0.0),
        _life.c.reference_feed_mm_rev,
        _life.c.reference_depth_mm,
    )
    .add_columns(_life.c.source)
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
    return [CutOperation(*row) for row in rows]


def material_group(tx: Tx, part_id: int) -> str:
    """ISO 513 group of a part's material."""
    return str(tx.execute(_GROUP, {"id": part_id}).scalar_one())


def item_of_lot(tx: Tx, lot_id: int) -> ItemRow:
    """The cutting item of a lot."""
    return ItemRow(*tx.execute(_ITEM, {"of_lot_id": lot_id}).one())


def constants_for(tx: Tx, item: ItemRow, group: str) -> tuple[TaylorConstants | None, str]:
    """The shop's constants of an item in a material group and their source.

    Those of the item itself come before those of its tool material.
    """
    row = tx.execute(
        _CONSTANTS,
        {"group": group, "item_id": item.id, "tool_material": item.tool_material},
    ).one_or_none()
    if row is None:
        return None, ""
    return TaylorConstants(*row[:6]), row[6] or ""
