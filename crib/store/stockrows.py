"""Rows that building starts from: specs, holders, lots."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, bindparam, func, select

from crib.errors import NotKnown
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import metadata, tool_spec_items

_T = metadata.tables
_specs, _types, _holders = _T["tool_specs"], _T["holder_types"], _T["holders"]
_lots, _items = _T["lots"], _T["cutting_items"]


@dataclass(frozen=True, slots=True)
class SpecRow:
    """A tool spec with the name of its holder type."""

    id: int
    tool_spec: str
    holder_type_id: int
    holder_type: str
    holder_max_rpm: float | None
    tip_orientation: int | None
    nose_radius_tenths_um: int | None
    lf_nominal_tenths_um: int | None
    wf_nominal_tenths_um: int | None
    hf_nominal_tenths_um: int | None
    tolerance_tenths_um: int | None
    max_rpm: float | None
    torque_nm: float | None
    preset_minutes: float | None
    clearance_deg: float | None
    wear_limit_mm: float | None
    items_per_tool: int
    life_parts: float | None
    retired: bool


@dataclass(frozen=True, slots=True)
class HolderRow:
    """A holder with what its type says."""

    id: int
    code: str
    mark: str
    location: str | None
    condition: str | None
    retired: bool
    holder_type_id: int
    holder_type: str
    accepts: str | None
    max_rpm: float | None
    interface: str | None
    kind: str | None
    designation: str


@dataclass(frozen=True, slots=True)
class LotRow:
    """A lot with its cutting item."""

    id: int
    code: str
    mark: str
    location: str | None
    on_hand: int
    retired: bool
    cutting_item_id: int
    cutting_item: str
    kind: str
    designation: str
    grade: str | None
    edges: int
    regrinds: int
    item_retired: bool


_SPEC: Select[Any] = (
    select(
        _specs.c.id,
        _specs.c.tool_spec,
        _specs.c.holder_type_id,
        _types.c.holder_type,
        _types.c.max_rpm.label("holder_max_rpm"),
        _specs.c.tip_orientation,
        _specs.c.nose_radius_tenths_um,
        _specs.c.lf_nominal_tenths_um,
        _specs.c.wf_nominal_tenths_um,
        _specs.c.hf_nominal_tenths_um,
        _specs.c.tolerance_tenths_um,
        _specs.c.max_rpm,
        _specs.c.torque_nm,
        _specs.c.preset_minutes,
        _specs.c.clearance_deg,
        _specs.c.wear_limit_mm,
        func.coalesce(_specs.c.items_per_tool, 1).label("items_per_tool"),
        _specs.c.life_parts,
        _specs.c.retired_at.is_not(None).label("retired"),
    )
    .join(_types, _types.c.id == _specs.c.holder_type_id)
    .where(_specs.c.id == bindparam("id"))
)
_SPEC_ITEMS = (
    select(_items.c.cutting_item)
    .join(tool_spec_items, tool_spec_items.c.cutting_item_id == _items.c.id)
    .where(tool_spec_items.c.tool_spec_id == bindparam("id"))
    .order_by(tool_spec_items.c.position)
)
_HOLDER: Select[Any] = (
    select(
        _holders.c.id,
        _holders.c.code,
        _holders.c.holder.label("mark"),
        _holders.c.location,
        _holders.c.condition,
        _holders.c.retired_at.is_not(None).label("retired"),
        _holders.c.holder_type_id,
        _types.c.holder_type,
        _types.c.accepts,
        _types.c.max_rpm,
        _types.c.interface,
        _types.c.kind,
        _types.c.designation,
    )
    .join(_types, _types.c.id == _holders.c.holder_type_id)
    .where(_holders.c.id == bindparam("id"))
)
_LOT = (
    select(
        _lots.c.id,
        _lots.c.code,
        _lots.c.lot.label("mark"),
        _lots.c.location,
        _lots.c.on_hand,
        _lots.c.retired_at.is_not(None).label("retired"),
        _lots.c.cutting_item_id,
        _items.c.cutting_item,
        _items.c.kind,
        _items.c.designation,
        _items.c.grade,
        func.coalesce(_items.c.edges, 1).label("edges"),
        func.coalesce(_items.c.regrinds, 0).label("regrinds"),
        _items.c.retired_at.is_not(None).label("item_retired"),
    )
    .join(_items, _items.c.id == _lots.c.cutting_item_id)
    .where(_lots.c.id == bindparam("id"))
)


def spec_row(tx: Tx, spec_id: int) -> SpecRow:
    """The tool spec of an id."""
    return named(SpecRow, tx.execute(_SPEC, {"id": spec_id}).one())


_SPEC_ID = select(_specs.c.id).where(_specs.c.tool_spec == bindparam("name"))


def spec_id_by_name(tx: Tx, name: str) -> int:
    """Id of a tool spec by its name.

    Raises:
        NotKnown: There is none.
    """
    found = tx.execute(_SPEC_ID, {"name": name.strip()}).scalar_one_or_none()
    if found is None:
        raise NotKnown(
            sentence(
                "'{name}' is not a tool spec here: check the name in tool_specs.csv.",
                name=name.strip()[:60],
            ),
            facts={"tool_spec": name.strip()[:60]},
            errors=[{"field": "tool_spec", "detail": sentence("is not a tool spec here")}],
        )
    return int(found)


def spec_items(tx: Tx, spec_id: int) -> tuple[str, ...]:
    """Names of the cutting items that a spec allows, the preferred one first."""
    return tuple(tx.execute(_SPEC_ITEMS, {"id": spec_id}).scalars())


def holder_row(tx: Tx, holder_id: int) -> HolderRow:
    """The holder of an id."""
    return named(HolderRow, tx.execute(_HOLDER, {"id": holder_id}).one())


def lot_row(tx: Tx, lot_id: int) -> LotRow:
    """The lot of an id."""
    return named(LotRow, tx.execute(_LOT, {"id": lot_id}).one())
