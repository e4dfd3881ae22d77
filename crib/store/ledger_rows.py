"""Rows of the stock ledger, and the balance that is kept with them."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import bindparam, insert, select, update

from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import metadata, stock_moves

_lots = metadata.tables["lots"]

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
    return named(MoveRow, tx.execute(_MOVED, {"fact_id": fact_id}).one())


def moved_by(tx: Tx, fact_id: int) -> int:
    """What a fact added to the box of a lot, below 0 for what it took; 0 where nothing."""
    row = tx.execute(_MOVED, {"fact_id": fact_id}).one_or_none()
    return 0 if row is None else named(MoveRow, row).change
