"""What becomes of the pieces of a tool that is over."""

from __future__ import annotations

from crib.stock.pieces import EdgeFate, fate_of
from crib.store.assemblies import AssemblyRow
from crib.store.engine import Tx
from crib.store.piece_rows import pieces_of_assembly, set_scrapped
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
