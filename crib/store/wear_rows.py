"""Rows of the whole shop that wear is worked out from: operations, constants, limits."""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from sqlalchemy import select

from crib.cutting.operations import CutOperation
from crib.life.taylor import TaylorConstants
from crib.store.cutting_rows import (
    constants_from_row,
    contradiction_of,
    operation_from_row,
)
from crib.store.engine import Tx
from crib.store.named_rows import named_rows
from crib.store.tables import metadata

_T = metadata.tables


class StationLimits(NamedTuple):
    """What a station and its machine allow."""

    id: int
    tool_number: int
    path: int | None
    max_rpm: float | None
    spindle_max_rpm: float | None


class SpecLimits(NamedTuple):
    """What a tool spec and its holder allow, and the shop's plain guess of parts per edge."""

    id: int
    max_rpm: float | None
    life_parts: float | None
    holder_max_rpm: float | None


class CuttingRows(NamedTuple):
    """What is stored of cutting, each row read by itself.

    Attributes:
        operations: What is cut, by part id, tool number and path.
        specs_expected: Ids of the specs that a part's program names there, in its order.
        groups: ISO 513 group of each part's material.
        stations: Limits of stations.
        specs: Limits of specs, by id.
        materials: Tool material of each cutting item.
        curves: Constants and their source, by item id or tool material, and material group.
        faults: Rows that could not be read: ``operations`` with the part's id, ``tool_life``
            with the row's.
        contradicted: Sequence of the first operation that contradicts itself, and how, by
            part, tool number and path.
    """

    operations: dict[tuple[int, int, int], list[CutOperation]]
    specs_expected: dict[tuple[int, int, int], dict[int, None]]
    groups: dict[int, str]
    stations: list[StationLimits]
    specs: dict[int, SpecLimits]
    materials: dict[int, str | None]
    curves: dict[tuple[int | str | None, str], tuple[TaylorConstants, str]]
    faults: dict[tuple[str, int], Exception]
    contradicted: dict[tuple[int, int, int], tuple[int, str]]


_STATIONS = select(
    _T["stations"].c.id,
    _T["stations"].c.tool_number,
    _T["stations"].c.path,
    _T["stations"].c.max_rpm,
    _T["machines"].c.spindle_max_rpm,
).join(_T["machines"], _T["machines"].c.id == _T["stations"].c.machine_id)
_SPECS = select(
    _T["tool_specs"].c.id,
    _T["tool_specs"].c.max_rpm,
    _T["tool_specs"].c.life_parts,
    _T["holder_types"].c.max_rpm.label("holder_max_rpm"),
).outerjoin(_T["holder_types"], _T["holder_types"].c.id == _T["tool_specs"].c.holder_type_id)


def read_cutting_rows(tx: Tx) -> CuttingRows:
    """What is stored of cutting; a row that cannot be read takes no other with it."""
    parts, items = _T["parts"], _T["cutting_items"]
    groups = tx.execute(select(parts.c.id, parts.c.material_group))
    materials = tx.execute(select(items.c.id, items.c.tool_material))
    found = CuttingRows(
        operations=defaultdict(list),
        specs_expected=defaultdict(dict),
        groups={row.id: row.material_group for row in groups},
        stations=list(named_rows(StationLimits, tx.execute(_STATIONS))),
        specs={row.id: row for row in named_rows(SpecLimits, tx.execute(_SPECS))},
        materials={row.id: row.tool_material for row in materials},
        curves={},
        faults={},
        contradicted={},
    )
    _read_operations(tx, found)
    _read_curves(tx, found)
    return found


def _read_operations(tx: Tx, found: CuttingRows) -> None:
    in_order = select(_T["operations"]).order_by("part_id", "path", "sequence")
    for row in tx.execute(in_order).mappings():
        key = (row["part_id"], row["tool_number"], row["path"] or 1)
        try:
            found.operations[key].append(cut := operation_from_row(row))
            if told := contradiction_of(cut):
                found.contradicted.setdefault(key, (row["sequence"], told))
        except Exception as fault:  # one row must not take the others with it
            found.faults["operations", row["part_id"]] = fault
        if row["tool_spec_id"] in found.specs:  # a spec that is not there wants no tool
            found.specs_expected[key][row["tool_spec_id"]] = None


def _read_curves(tx: Tx, found: CuttingRows) -> None:
    in_use = select(_T["tool_life"]).where(_T["tool_life"].c.retired_at.is_(None))
    for row in tx.execute(in_use).mappings():
        which = row["cutting_item_id"] or row["tool_material"]
        try:
            found.curves[which, row["material_group"]] = constants_from_row(row)
        except Exception as fault:
            found.faults["tool_life", row["id"]] = fault
