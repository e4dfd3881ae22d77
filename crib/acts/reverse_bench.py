"""Taking back what was done at the bench: a tool that was not built, or is not apart."""

from __future__ import annotations

from crib.acts.use_up import give_edges_back
from crib.acts.who_and_when import WhoAndWhen, record
from crib.errors import Conflict, HolderInUse
from crib.sentence import sentence, word
from crib.stock.assembly import UNAVAILABLE, USED, status_after_preset
from crib.store.assemblies import (
    AssemblyRow,
    assembly_of_holder,
    assembly_row,
    later_fact_of,
    set_state,
    stays_of,
    torn_down_assembly,
)
from crib.store.engine import Tx
from crib.store.ledger_rows import book_move, moved_by
from crib.store.mounts import stays_of_assembly
from crib.store.piece_rows import drop_pieces, pieces_of_assembly, release_edges
from crib.store.presets import latest_preset
from crib.store.stockrows import holder_row, lot_row


def take_back_build(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    """Take a build back: its edges are free, and what it took from the box is in there again.

    Raises:
        Conflict: The tool was measured, mounted or taken apart since.
    """
    assembly = assembly_row(tx, fact_id)
    later = later_fact_of(tx, assembly.id, fact_id)
    if later is not None:
        raise Conflict(
            sentence(
                "{code} was measured, mounted or taken apart since (fact {later}): its "
                "build cannot be undone. Take the tool apart instead.",
                code=assembly.code,
                later=later,
            ),
            facts={"assembly": assembly.code, "fact_id": later},
        )
    reversal_id = record(tx, "reversal", told, reverses_id=fact_id)
    lot = lot_row(tx, assembly.lot_id)
    fresh = -moved_by(tx, fact_id)
    # a fresh piece has the next number of its lot: those of this build come last
    opened = [use.piece.piece_id for use in pieces_of_assembly(tx, assembly.id)]
    release_edges(tx, assembly.id)
    in_box = lot.on_hand
    if fresh:
        in_box += fresh
        drop_pieces(tx, opened[-fresh:])
        book_move(tx, reversal_id, lot.id, "build", fresh, in_box)
    set_state(tx, assembly.id, status=UNAVAILABLE, preset_id=None, ended_at=assembly.built_at)
    holder = holder_row(tx, assembly.holder_id)
    return reversal_id, (
        sentence(
            "{code} was not built: holder {mark} is free, and lot {mark2} has {in_box} "
            "in the box.",
            code=assembly.code,
            mark=holder.mark,
            mark2=lot.mark,
            in_box=in_box,
        )
    )


def take_back_teardown(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    """Take back that a used tool was taken apart: it stands, and its edge is not used up.

    Raises:
        Conflict: Its edge never cut, or a piece of it went on since.
        HolderInUse: Its holder is built again.
    """
    assembly = assembly_row(tx, torn_down_assembly(tx, fact_id))
    if not stays_of(tx, assembly.id):
        raise Conflict(
            sentence(
                "The edge of {code} never cut and is free again: build the tool again.",
                code=assembly.code,
            ),
            facts={"assembly": assembly.code},
        )
    built = assembly_of_holder(tx, assembly.holder_id)
    if built is not None:
        raise HolderInUse(
            sentence(
                "The holder of {code} is built as {code2} by now: take that apart first.",
                code=assembly.code,
                code2=built.code,
            ),
            facts={"assembly": built.code},
        )
    give_edges_back(tx, assembly)
    reversal_id = record(tx, "reversal", told, reverses_id=fact_id)
    status = _status_before(tx, assembly)
    set_state(tx, assembly.id, status=status, preset_id=assembly.preset_id)
    return reversal_id, sentence(
        "{code} is built and {status} again.", code=assembly.code, status=word(status)
    )


def _status_before(tx: Tx, assembly: AssemblyRow) -> str:
    """As its last preset left it, or its last removal where that came later."""
    preset = latest_preset(tx, assembly.id)
    removal_id = stays_of_assembly(tx, assembly.id)[-1].removal_id or 0
    if preset is None or preset.id < removal_id:
        return USED
    return status_after_preset(accepted=preset.accepted)
