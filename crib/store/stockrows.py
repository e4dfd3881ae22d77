"""Rows for building and stock: specs, holders, lots, pieces and their edges, moves."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, bindparam, func, insert, select, update

from crib.errors import NotKnown
from crib.stock.pieces import Piece
from crib.store.engine import Tx
from crib.store.tables import (
    assembly_state,
    edge_uses,
    metadata,
    pieces,
    stock_moves,
    tool_spec_items,
)

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
        func.coalesce(_specs.c.items_per_tool, 1),
        _specs.c.life_parts,
        _specs.c.retired_at.is_not(None),
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
        _holders.c.holder,
        _holders.c.location,
        _holders.c.condition,
        _holders.c.retired_at.is_not(None),
        _holders.c.holder_type_id,
        _types.c.holder_type,
        _types.c.accepts,
        _types.c.max_rpm,
        _types.c.interface,
        _types.c.kind,
    )
    .join(_types, _types.c.id == _holders.c.holder_type_id)
    .where(_holders.c.id == bindparam("id"))
)
_LOT = (
    select(
        _lots.c.id,
        _lots.c.code,
        _lots.c.lot,
        _lots.c.location,
        _lots.c.on_hand,
        _lots.c.retired_at.is_not(None),
        _lots.c.cutting_item_id,
        _items.c.cutting_item,
        _items.c.kind,
        _items.c.designation,
        _items.c.grade,
        func.coalesce(_items.c.edges, 1),
        func.coalesce(_items.c.regrinds, 0),
        _items.c.retired_at.is_not(None),
    )
    .join(_items, _items.c.id == _lots.c.cutting_item_id)
    .where(_lots.c.id == bindparam("id"))
)


def spec_row(tx: Tx, spec_id: int) -> SpecRow:
    """The tool spec of an id."""
    return SpecRow(*tx.execute(_SPEC, {"id": spec_id}).one())


_SPEC_ID = select(_specs.c.id).where(_specs.c.tool_spec == bindparam("name"))


def spec_id_by_name(tx: Tx, name: str) -> int:
    """Id of a tool spec by its name.

    Raises:
        NotKnown: There is none.
    """
    found = tx.execute(_SPEC_ID, {"name": name.strip()}).scalar_one_or_none()
    if found is None:
        raise NotKnown(
            f"'{name.strip()[:60]}' is no tool spec here: check the name in tool_specs.csv.",
            facts={"tool_spec": name.strip()[:60]},
            errors=[{"field": "tool_spec", "detail": "is no tool spec here"}],
        )
    return int(found)


def spec_items(tx: Tx, spec_id: int) -> tuple[str, ...]:
    """Names of the cutting items that a spec allows, the preferred one first."""
    return tuple(tx.execute(_SPEC_ITEMS, {"id": spec_id}).scalars())


def holder_row(tx: Tx, holder_id: int) -> HolderRow:
    """The holder of an id."""
    return HolderRow(*tx.execute(_HOLDER, {"id": holder_id}).one())


def lot_row(tx: Tx, lot_id: int) -> LotRow:
    """The lot of an id."""
    return LotRow(*tx.execute(_LOT, {"id": lot_id}).one())


_USES = (
    select(
        pieces.c.id,
        pieces.c.lot_id,
        pieces.c.number,
        pieces.c.grinds,
        pieces.c.scrapped,
        edge_uses.c.edge,
        edge_uses.c.grind,
        edge_uses.c.assembly_id,
        assembly_state.c.assembly_id.is_not(None) & assembly_state.c.ended_at.is_(None),
    )
    .outerjoin(edge_uses, edge_uses.c.piece_id == pieces.c.id)
    .outerjoin(assembly_state, assembly_state.c.assembly_id == edge_uses.c.assembly_id)
    .order_by(pieces.c.number, edge_uses.c.edge)
)
_USES_OF_LOT = _USES.where(pieces.c.lot_id == bindparam("lot_id"))
_USES_OF_ASSEMBLY = _USES.where(
    pieces.c.id.in_(
        select(edge_uses.c.piece_id).where(
            edge_uses.c.assembly_id == bindparam("of_assembly_id")
        )
    )
)


@dataclass(frozen=True, slots=True)
class PieceUse:
    """One piece and the edge of it that an assembly holds, at the grind it was built with."""

    piece: Piece
    edge: int
    grind: int


def pieces_of_lot(tx: Tx, lot_id: int) -> tuple[Piece, ...]:
    """Every opened piece of a lot, scrapped ones too, by number."""
    rows = tx.execute(_USES_OF_LOT, {"lot_id": lot_id}).all()
    return tuple(piece for piece, _ in _gathered(rows))


def pieces_of_assembly(tx: Tx, assembly_id: int) -> tuple[PieceUse, ...]:
    """The pieces that an assembly holds or held, by number."""
    rows = tx.execute(_USES_OF_ASSEMBLY, {"of_assembly_id": assembly_id}).all()
    found = []
    for piece, uses in _gathered(rows):
        edge, grind = next((row[5], row[6]) for row in uses if row[7] == assembly_id)
        found.append(PieceUse(piece, edge, grind))
    return tuple(found)


def _gathered(rows: Any) -> list[tuple[Piece, list[Any]]]:
    by_piece: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        by_piece[row[0]].append(row)
    return [
        (
            Piece(
                piece_id,
                uses[0][2],
                uses[0][3],
                frozenset(row[5] for row in uses if row[6] == row[3]),
                any(row[8] for row in uses),
                uses[0][4],
            ),
            uses,
        )
        for piece_id, uses in by_piece.items()
    ]


_OPEN_PIECE = insert(pieces).returning(pieces.c.id)
_NEXT_NUMBER = select(func.coalesce(func.max(pieces.c.number), 0) + 1).where(
    pieces.c.lot_id == bindparam("of_lot_id")
)
_USE_EDGE = insert(edge_uses)
_RELEASE = edge_uses.delete().where(edge_uses.c.assembly_id == bindparam("of_assembly_id"))
_SCRAP = (
    update(pieces)
    .where(pieces.c.id == bindparam("piece_id"))
    .values(scrapped=bindparam("is_scrapped"))
)
_GRIND = (
    update(pieces)
    .where(pieces.c.id == bindparam("piece_id"))
    .values(grinds=pieces.c.grinds + 1)
)


def open_piece(tx: Tx, lot_id: int) -> tuple[int, int]:
    """Take a fresh piece out of its box; its id and its number within the lot."""
    number = int(tx.execute(_NEXT_NUMBER, {"of_lot_id": lot_id}).scalar_one())
    row = {"lot_id": lot_id, "number": number, "grinds": 0, "scrapped": False}
    return int(tx.execute(_OPEN_PIECE, row).scalar_one()), number


def use_edge(tx: Tx, piece_id: int, edge: int, grind: int, assembly_id: int) -> None:
    """Put an edge into an assembly; the database refuses one that was used before."""
    tx.execute(
        _USE_EDGE,
        {"piece_id": piece_id, "edge": edge, "grind": grind, "assembly_id": assembly_id},
    )


def release_edges(tx: Tx, assembly_id: int) -> None:
    """Give the edges of an assembly back, as if they had never been in it."""
    tx.execute(_RELEASE, {"of_assembly_id": assembly_id})


def set_scrapped(tx: Tx, piece_id: int, *, scrapped: bool) -> None:
    """Say whether a piece is gone."""
    tx.execute(_SCRAP, {"piece_id": piece_id, "is_scrapped": scrapped})


def grind_piece(tx: Tx, piece_id: int) -> None:
    """Count one more grind: every edge is fresh again."""
    tx.execute(_GRIND, {"piece_id": piece_id})


_BALANCE = (
    update(_lots)
    .where(_lots.c.id == bindparam("lot_id"))
    .values(on_hand=_lots.c.on_hand + bindparam("by"))
)
_MOVE = insert(stock_moves)
_MOVED = select(
    stock_moves.c.lot_id, stock_moves.c.move, stock_moves.c.change, stock_moves.c.balance_after
).where(stock_moves.c.fact_id == bindparam("fact_id"))


@dataclass(frozen=True, slots=True)
class MoveRow:
    """One line of the ledger."""

    lot_id: int
    move: str
    change: int
    balance_after: int


def book_move(
    tx: Tx, fact_id: int, lot_id: int, move: str, change: int, balance_after: int
) -> None:
    """Write a line of the ledger and keep the lot's balance with it."""
    tx.execute(_BALANCE, {"lot_id": lot_id, "by": change})
    tx.execute(
        _MOVE,
        {
            "fact_id": fact_id,
            "lot_id": lot_id,
            "move": move,
            "change": change,
            "balance_after": balance_after,
        },
    )


def move_row(tx: Tx, fact_id: int) -> MoveRow:
    """The line of the ledger that a fact wrote."""
    return MoveRow(*tx.execute(_MOVED, {"fact_id": fact_id}).one())


_LATER_USE = (
    select(func.count())
    .select_from(edge_uses)
    .where(
        edge_uses.c.piece_id == bindparam("of_piece_id"),
        edge_uses.c.assembly_id > bindparam("after_assembly_id"),
    )
)


def later_edge_use(tx: Tx, piece_id: int, assembly_id: int) -> bool:
    """Whether a piece went into another tool after an assembly was built with it."""
    parameters = {"of_piece_id": piece_id, "after_assembly_id": assembly_id}
    return bool(tx.execute(_LATER_USE, parameters).scalar_one())
