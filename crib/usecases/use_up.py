"""What becomes of the pieces of a tool that is over."""

from __future__ import annotations

from crib.stock.pieces import EdgeFate, fate_of
from crib.store.assemblies import AssemblyRow
from crib.store.engine import Tx
from crib.store.piece_rows import pieces_of_assembly, set_scrapped
from crib.store.stockrows import lot_row


def use_up_edges(tx: Tx, assembly: AssemblyRow, *, broken: bool) -> tuple[EdgeFate, ...]:
    """Next edge, regrind or scrap for each piece; scrap is marked as such."""
    lot = lot_row(tx, assembly.lot_id)
    fates = []
    for use in pieces_of_assembly(tx, assembly.id):
        fate = fate_of(use.piece, edges=lot.edges, regrinds=lot.regrinds, broken=broken)
        if fate.fate == "scrap":
            set_scrapped(tx, use.piece.piece_id, scrapped=True)
        fates.append(fate)
    return tuple(fates)
