"""What becomes of the pieces of a tool that is over, and of one that is not over after all."""

from __future__ import annotations

from crib.errors import Conflict
from crib.sentence import sentence
from crib.stock.pieces import EdgeFate, fate_of
from crib.store.assemblies import AssemblyRow
from crib.store.engine import Tx
from crib.store.piece_rows import later_edge_use, pieces_of_assembly, set_scrapped
from crib.store.stockrows import lot_row


def use_up_edges(tx: Tx, assembly: AssemblyRow, *, broken: bool) -> tuple[EdgeFate, ...]:
    """Next edge, regrind or scrap for each piece; scrap is marked as such."""
    fates = fates_of_edges(tx, assembly, broken=broken)
    for use, fate in zip(pieces_of_assembly(tx, assembly.id), fates, strict=True):
        if fate.fate == "scrap":
            set_scrapped(tx, use.piece.piece_id, scrapped=True)
    return fates


def fates_of_edges(tx: Tx, assembly: AssemblyRow, *, broken: bool) -> tuple[EdgeFate, ...]:
    """The same as things are, without marking anything."""
    lot = lot_row(tx, assembly.lot_id)
    return tuple(
        fate_of(use.piece, edges=lot.edges, regrinds=lot.regrinds, broken=broken)
        for use in pieces_of_assembly(tx, assembly.id)
    )


def give_edges_back(tx: Tx, assembly: AssemblyRow) -> None:
    """What was scrapped with a tool is not.

    Raises:
        Conflict: A piece went on without it.
    """
    for use in pieces_of_assembly(tx, assembly.id):
        piece = use.piece
        if piece.grind != use.grind or later_edge_use(tx, piece.piece_id, assembly.id):
            raise Conflict(
                sentence(
                    "Piece {number} of {code} was ground or built again since: it stays "
                    "used up.",
                    number=piece.number,
                    code=assembly.code,
                ),
                facts={"assembly": assembly.code, "piece": piece.number},
            )
        if piece.scrapped:
            set_scrapped(tx, piece.piece_id, scrapped=False)
