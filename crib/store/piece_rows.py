"""Rows of inserts and cutters out of their box, and of the edges that tools took."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, bindparam, func, insert, select, update

from crib.stock.pieces import Piece
from crib.store.engine import Tx
from crib.store.tables import assembly_state, edge_uses, pieces

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
        (assembly_state.c.assembly_id.is_not(None) & assembly_state.c.ended_at.is_(None)).label(
            "is_built"
        ),
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
        use = next(row for row in uses if row.assembly_id == assembly_id)
        found.append(PieceUse(piece, use.edge, use.grind))
    return tuple(found)


def _gathered(rows: Iterable[Row[Any]]) -> list[tuple[Piece, list[Row[Any]]]]:
    by_piece: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        by_piece[row.id].append(row)
    return [
        (
            Piece(
                piece_id,
                uses[0].number,
                uses[0].grinds,
                frozenset(row.edge for row in uses if row.grind == row.grinds),
                any(row.is_built for row in uses),
                uses[0].scrapped,
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
_DROP = pieces.delete().where(pieces.c.id == bindparam("piece_id"))
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


def drop_pieces(tx: Tx, piece_ids: Sequence[int]) -> None:
    """Forget pieces that were never out of their box; no tool may hold them."""
    for piece_id in piece_ids:
        tx.execute(_DROP, {"piece_id": piece_id})


def set_scrapped(tx: Tx, piece_id: int, *, scrapped: bool) -> None:
    """Say whether a piece is gone."""
    tx.execute(_SCRAP, {"piece_id": piece_id, "is_scrapped": scrapped})


def grind_piece(tx: Tx, piece_id: int) -> None:
    """Count one more grind: every edge is fresh again."""
    tx.execute(_GRIND, {"piece_id": piece_id})


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
