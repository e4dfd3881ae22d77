"""Taking a tool apart on the bench: the holder is free, the edge as good as it was used."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.named import named_assembly
from crib.acts.use_up import use_up_edges
from crib.acts.who_and_when import record, refuse_before, who_and_when
from crib.clock import print_instant
from crib.errors import AlreadyMounted, Conflict
from crib.sentence import sentence
from crib.stock.assembly import EXPIRED, UNAVAILABLE
from crib.stock.pieces import EdgeFate
from crib.store.assemblies import (
    AssemblyRow,
    insert_teardown,
    last_fact_at,
    set_state,
    stays_of,
)
from crib.store.engine import Tx
from crib.store.piece_rows import release_edges
from crib.store.stockrows import holder_row


@dataclass(frozen=True, slots=True)
class TearDown:
    """Take a tool apart.

    Attributes:
        assembly: Code of its label, or its holder.
        reason: Why, in a few words.
    """

    assembly: str
    reason: str | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class TornDown:
    """What a tool was taken apart into.

    Attributes:
        fact_id: The fact.
        code: The tool's code.
        holder: Mark of the holder that is free now.
        never_cut: Whether its edge can be built again.
        cutter_status: What the tool ended as.
        edges: What becomes of each piece; empty where the edge never cut.
        at: When.
    """

    fact_id: int
    code: str
    holder: str
    never_cut: bool
    cutter_status: str
    edges: tuple[EdgeFate, ...]
    at: datetime


def tear_down(tx: Tx, present: datetime, command: TearDown) -> TornDown:
    """Take a tool apart; an edge that was never in a machine is fresh again.

    Raises:
        AlreadyMounted: It sits in a station.
        Conflict: It is over already, or has a later fact.
        NotKnown: A code that nothing carries.
    """
    told = who_and_when(tx, present, command)
    assembly = named_assembly(tx, command.assembly).row
    _refuse(assembly)
    told = refuse_before(
        told,
        last_fact_at(tx, assembly.id),
        sentence("the last fact about {code} lies", code=assembly.code),
    )
    never_cut = stays_of(tx, assembly.id) == 0
    fact_id = record(tx, "teardown", told)
    insert_teardown(tx, fact_id, assembly.id, (command.reason or "").strip() or None)
    status = UNAVAILABLE if never_cut else EXPIRED
    set_state(tx, assembly.id, status=status, preset_id=assembly.preset_id, ended_at=told.at)
    fates: tuple[EdgeFate, ...] = ()
    if never_cut:
        release_edges(tx, assembly.id)
    else:
        fates = use_up_edges(tx, assembly, broken=False)
    return TornDown(
        fact_id=fact_id,
        code=assembly.code,
        holder=holder_row(tx, assembly.holder_id).mark,
        never_cut=never_cut,
        cutter_status=status,
        edges=fates,
        at=told.at,
    )


def _refuse(assembly: AssemblyRow) -> None:
    if assembly.station is not None:
        raise AlreadyMounted(
            sentence(
                "{code} sits in station {station}: take it out first and record its removal.",
                code=assembly.code,
                station=assembly.station,
            ),
            facts={"assembly": assembly.code, "station": assembly.station},
        )
    if assembly.ended_at is not None:
        raise Conflict(
            sentence(
                "{code} has ended already ({cutter_status} since {ended_at}).",
                code=assembly.code,
                cutter_status=assembly.cutter_status,
                ended_at=print_instant(assembly.ended_at),
            ),
            facts={"assembly": assembly.code, "cutter_status": assembly.cutter_status},
        )
