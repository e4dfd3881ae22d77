"""Building a tool from a holder and an edge, or every reason why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from crib.acts.recipe import PieceTaken, Recipe, recipe_from
from crib.acts.who_and_when import record, refuse_before, who_and_when
from crib.errors import DoesNotFit, HolderInUse
from crib.floor.cautions import build_cautions
from crib.records.catalogue import is_out_of_service
from crib.sentence import begun, sentence, together
from crib.stock.assembly import NEW
from crib.stock.fits import HolderFacts, ItemFacts, Misfit, SpecFacts, build_misfits
from crib.stock.pieces import Taken, choose_edges
from crib.store.assemblies import (
    AssemblyRow,
    assembly_of_holder,
    holder_free_since,
    insert_assembly,
)
from crib.store.code_numbers import next_code
from crib.store.engine import Tx
from crib.store.ledger_rows import book_move
from crib.store.piece_rows import open_piece, pieces_of_lot, use_edge
from crib.store.resolve import resolve_holder, resolve_lot
from crib.store.stockrows import (
    HolderRow,
    LotRow,
    SpecRow,
    holder_row,
    lot_row,
    spec_id_by_name,
    spec_items,
    spec_row,
)


@dataclass(frozen=True, slots=True)
class BuildAssembly:
    """Build a tool.

    Attributes:
        tool_spec: Name of the spec.
        holder: Code or mark of the holder.
        lot: Code or mark of the lot that the insert or cutter comes from.
        edge: Edge wanted, from 1; None takes the next free one.
    """

    tool_spec: str
    holder: str
    lot: str
    edge: int | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class BuiltAssembly:
    """A tool that was built: its code, its edge, what to do now."""

    fact_id: int
    code: str
    edge: int
    edges: int
    cutter_status: str
    at: datetime
    recipe: Recipe
    cautions: tuple[str, ...]


def build_assembly(tx: Tx, present: datetime, command: BuildAssembly) -> BuiltAssembly:
    """Build one holder with one edge, taking the edge from an opened piece where it can.

    Raises:
        HolderInUse: The holder is built already.
        DoesNotFit: Holder, lot and spec do not belong together; ``errors`` names every reason.
        EdgeUsed: The wanted edge has cut before.
        NoneLeft: The lot has neither free edges nor pieces left.
        Invalid: The item has no such edge, or the instant cannot be.
        NotKnown: A name or code that nothing carries.
    """
    told = who_and_when(tx, present, command)
    spec = spec_row(tx, spec_id_by_name(tx, command.tool_spec))
    holder = holder_row(tx, resolve_holder(tx, command.holder).id)
    lot = lot_row(tx, resolve_lot(tx, command.lot).id)
    _refuse_misfits(tx, spec, holder, lot)
    told = refuse_before(
        told,
        holder_free_since(tx, holder.id),
        sentence("holder {mark} came free", mark=holder.mark),
    )
    taken = choose_edges(
        pieces_of_lot(tx, lot.id),
        lot=lot.mark,
        edges=lot.edges,
        on_hand=lot.on_hand,
        items=spec.items_per_tool,
        edge=command.edge,
    )
    fact_id = record(tx, "build", told)
    code = next_code(tx, "A")
    first = taken[0]
    insert_assembly(
        tx,
        fact_id,
        tool_spec_id=spec.id,
        holder_id=holder.id,
        lot_id=lot.id,
        edge=first.edge,
        grind=first.piece.grind if first.piece else 0,
        status=NEW,
        code=code,
    )
    pieces = _take(tx, fact_id, lot, taken)
    return BuiltAssembly(
        fact_id=fact_id,
        code=code,
        edge=first.edge,
        edges=lot.edges,
        cutter_status=NEW,
        at=told.at,
        recipe=recipe_from(spec, holder, lot, first.edge, pieces),
        cautions=build_cautions(spec.torque_nm),
    )


def _refuse_misfits(tx: Tx, spec: SpecRow, holder: HolderRow, lot: LotRow) -> None:
    misfits = build_misfits(
        SpecFacts(spec.tool_spec, spec.holder_type, spec_items(tx, spec.id), spec.retired),
        HolderFacts(
            holder.mark,
            holder.holder_type,
            holder.accepts,
            holder.condition,
            is_out_of_service(holder.condition),
            holder.retired,
            holder.designation,
        ),
        ItemFacts(lot.mark, lot.cutting_item, lot.designation, lot.retired, lot.item_retired),
    )
    built = assembly_of_holder(tx, holder.id)
    if built is None and not misfits:
        return
    facts = {"tool_spec": spec.tool_spec, "holder": holder.code, "lot": lot.code}
    if built is not None:
        use = _in_use(holder, built)
        if not misfits:
            raise HolderInUse(
                begun(use.detail) + ".",
                facts={**facts, "assembly": built.code, "station": built.station},
                errors=[use._asdict()],
            )
        misfits = (use, *misfits)
    raise DoesNotFit(
        sentence(
            "That does not make a tool: {misfits}.",
            misfits=together("; ", (misfit.detail for misfit in misfits)),
        ),
        facts=facts,
        errors=[misfit._asdict() for misfit in misfits],
    )


def _in_use(holder: HolderRow, built: AssemblyRow) -> Misfit:
    where = (
        sentence("sits in station {station}", station=built.station)
        if built.station
        else sentence("is in the rack")
    )
    return Misfit(
        "holder",
        sentence(
            "holder {mark} is built as {code}, which {where}: take it apart first, or "
            "take another holder",
            mark=holder.mark,
            code=built.code,
            where=where,
        ),
    )


def _take(
    tx: Tx, assembly_id: int, lot: LotRow, taken: Sequence[Taken]
) -> tuple[PieceTaken, ...]:
    """Put the edges into the assembly; what comes out of the box leaves the balance."""
    pieces = []
    fresh = 0
    for one in taken:
        if one.piece is None:
            piece_id, number = open_piece(tx, lot.id)
            grind = 0
            fresh += 1
        else:
            piece_id, number, grind = one.piece.piece_id, one.piece.number, one.piece.grind
        use_edge(tx, piece_id, one.edge, grind, assembly_id)
        pieces.append(PieceTaken(number, one.edge, grind))
    if fresh:
        book_move(tx, assembly_id, lot.id, "build", -fresh, lot.on_hand - fresh)
    return tuple(pieces)
