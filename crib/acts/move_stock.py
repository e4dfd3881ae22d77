"""Stock: what comes, goes, is counted, and what comes back ground."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.who_and_when import record, who_and_when
from crib.errors import Conflict, NotKnown
from crib.sentence import sentence
from crib.stock.ledger import change_of
from crib.stock.pieces import Piece
from crib.store.engine import Tx
from crib.store.ledger_rows import book_move
from crib.store.piece_rows import grind_piece, pieces_of_lot
from crib.store.resolve import resolve_lot
from crib.store.stockrows import LotRow, lot_row


@dataclass(frozen=True, slots=True)
class MoveStock:
    """Book a move.

    Attributes:
        lot: Code or mark of the lot.
        move: One of ``crib.stock.ledger.MOVES``.
        quantity: Pieces moved; for a stocktaking the pieces counted in the box.
    """

    lot: str
    move: str
    quantity: int
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class StockMoved:
    """What is in the box after a move."""

    fact_id: int
    lot: str
    code: str
    cutting_item: str
    move: str
    change: int
    on_hand: int
    at: datetime


def move_stock(tx: Tx, present: datetime, command: MoveStock) -> StockMoved:
    """Book a receipt, an issue, a return, scrap or a stocktaking.

    Raises:
        Invalid: No such move, or a quantity that is not plausible.
        NoneLeft: More leaves than there is.
        NotKnown: No such lot.
    """
    told = who_and_when(tx, present, command)
    lot = lot_row(tx, resolve_lot(tx, command.lot).id)
    move = command.move.strip().lower()
    change = change_of(move, command.quantity, lot.on_hand, lot=lot.mark)
    fact_id = record(tx, "stock_move", told)
    book_move(tx, fact_id, lot.id, move, change, lot.on_hand + change)
    return StockMoved(
        fact_id=fact_id,
        lot=lot.mark,
        code=lot.code,
        cutting_item=lot.cutting_item,
        move=move,
        change=change,
        on_hand=lot.on_hand + change,
        at=told.at,
    )


@dataclass(frozen=True, slots=True)
class Regrind:
    """A used cutter is back from grinding.

    Attributes:
        lot: Code or mark of its lot.
        piece: Its number within the lot.
    """

    lot: str
    piece: int
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Reground:
    """A piece whose edges are fresh again."""

    fact_id: int
    lot: str
    code: str
    cutting_item: str
    piece: int
    grinds: int
    regrinds_left: int
    at: datetime


def regrind(tx: Tx, present: datetime, command: Regrind) -> Reground:
    """Book a ground piece back: every edge of it may be built again.

    Raises:
        NotKnown: No such lot, or no such piece of it.
        Conflict: The piece sits in a tool, is scrap, was never used, or was ground as often
            as it may be.
    """
    told = who_and_when(tx, present, command)
    lot = lot_row(tx, resolve_lot(tx, command.lot).id)
    pieces = pieces_of_lot(tx, lot.id)
    piece = next((one for one in pieces if one.number == command.piece), None)
    if piece is None:
        raise NotKnown(
            sentence(
                "Lot {mark} has no opened piece {piece}: look at its number.",
                mark=lot.mark,
                piece=command.piece,
            ),
            facts={"lot": lot.code, "piece": command.piece},
            errors=[
                {"field": "piece", "detail": sentence("is not an opened piece of the lot")}
            ],
        )
    _refuse_grinding(lot, piece)
    fact_id = record(tx, "stock_move", told)
    book_move(tx, fact_id, lot.id, "return", 0, lot.on_hand)
    grind_piece(tx, piece.piece_id)
    return Reground(
        fact_id=fact_id,
        lot=lot.mark,
        code=lot.code,
        cutting_item=lot.cutting_item,
        piece=piece.number,
        grinds=piece.grind + 1,
        regrinds_left=lot.regrinds - piece.grind - 1,
        at=told.at,
    )


def _refuse_grinding(lot: LotRow, piece: Piece) -> None:
    name = sentence("Piece {number} of lot {mark}", number=piece.number, mark=lot.mark)
    why = None
    if piece.busy:
        why = sentence("{name} sits in a tool: take it out first.", name=name)
    elif piece.scrapped:
        why = sentence("{name} is scrap.", name=name)
    elif not piece.used:
        why = sentence("{name} has not cut since it was ground last.", name=name)
    elif piece.grind >= lot.regrinds:
        why = sentence(
            "{name} was ground {grind} times; {cutting_item} allows {regrinds}.",
            name=name,
            grind=piece.grind,
            cutting_item=lot.cutting_item,
            regrinds=lot.regrinds,
        )
    if why is not None:
        raise Conflict(why, facts={"lot": lot.code, "piece": piece.number})
