"""Taking a tool out of a station: why, what it made, what becomes of edge and holder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from crib.acts.named import named_assembly
from crib.acts.station_wear import NOTHING, StayWear, wear_of_stays
from crib.acts.told_count import refuse_part_count, report_one
from crib.acts.use_up import fates_of_edges, use_up_edges
from crib.acts.who_and_when import WhoAndWhen, record, refuse_before, who_and_when
from crib.clock import print_instant
from crib.errors import Conflict, Invalid, NotKnown, NotMounted
from crib.records.measures import FLANK_WEAR, refuse_implausible
from crib.sentence import sentence, together
from crib.stock.assembly import BROKEN, STAYS_BUILT, read_reason, status_after_removal
from crib.stock.pieces import EdgeFate
from crib.store.assemblies import AssemblyRow, assembly_row, set_state
from crib.store.breakage_rows import breakage_of
from crib.store.engine import Tx
from crib.store.mounts import (
    MountRow,
    corrections_of,
    insert_removal,
    last_in_station,
    mount_row,
    stay_of_removal,
    stays_of_assembly,
)
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow, station_row
from crib.store.stockrows import holder_row


@dataclass(frozen=True, slots=True)
class RemoveTool:
    """Take a tool out.

    Attributes:
        reason: One of ``crib.stock.assembly.REASONS``, blanks allowed for underscores.
        station: Code of the station or MACHINE/STATION; this or ``assembly``.
        assembly: Code of the tool, or its holder.
        part_count: What the machine's counter says.
        flank_wear_tenths_um: Worn land, if it was measured [0.1 µm].
    """

    reason: str
    station: str | None = None
    assembly: str | None = None
    part_count: int | None = None
    flank_wear_tenths_um: int | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class ToolRemoved:
    """What a stay came to.

    Attributes:
        fact_id: The removal.
        code: The assembly's code.
        station: MACHINE/STATION.
        at: When it came out.
        reason: As recorded.
        cutter_status: USED where it may go back, else EXPIRED or BROKEN.
        ended: Whether the tool is over and its holder free.
        parts_made: Parts that the machine counted in this stay.
        parts_in_all: The same over every stay of the edge.
        engaged_min: Minutes in cut in this stay; None where unknown.
        engaged_in_all_min: The same over every stay of the edge.
        share_in_stay: Share of the promised life used in this stay; None where unknown.
        share_of_life_used: The same over every stay of the edge.
        basis: Where the promise comes from: ``tool_life``, ``life_parts`` or ``starter``.
        edges: What becomes of each piece; empty where the tool stays built.
        edge_sentence: The same for a person.
        holder_sentence: What becomes of the holder.
        part_count_refused: Why the part count is held, if it is.
    """

    fact_id: int
    code: str
    station: str
    at: datetime
    reason: str
    cutter_status: str
    ended: bool
    parts_made: int
    parts_in_all: int
    engaged_min: float | None
    engaged_in_all_min: float | None
    share_in_stay: float | None
    share_of_life_used: float | None
    basis: str
    edges: tuple[EdgeFate, ...]
    edge_sentence: str
    holder_sentence: str
    part_count_refused: str | None


def remove_tool(tx: Tx, present: datetime, command: RemoveTool) -> ToolRemoved:
    """Record that a tool came out of its station.

    Raises:
        NotMounted: Nothing sits there, or the tool sits nowhere.
        Conflict: Before its mount or its last correction; station and tool disagree.
        Invalid: No such reason, or figures that cannot be.
        NotKnown: A code that nothing carries.
    """
    told = who_and_when(tx, present, command)
    reason = read_reason(command.reason)
    _refuse_figures(command)
    mount = _mount_of(tx, command)
    assembly = assembly_row(tx, mount.assembly_id)
    station = station_row(tx, mount.station_id)
    told = _after_what_is_known(tx, told, mount, assembly, station)
    _refuse_to_go_on_broken(tx, mount, assembly, reason)
    fact_id = record(tx, "removal", told)
    insert_removal(
        tx,
        fact_id,
        mount_id=mount.id,
        reason=reason,
        part_count=command.part_count,
        flank_wear_tenths_um=command.flank_wear_tenths_um,
    )
    count_refused = None
    if command.part_count is not None:
        count_refused = report_one(
            tx, present, station, told.at, command.part_count, command.by
        )
    status = status_after_removal(reason)
    ended = reason not in STAYS_BUILT
    set_state(
        tx,
        assembly.id,
        status=status,
        preset_id=assembly.preset_id,
        ended_at=told.at if ended else None,
    )
    if ended:
        use_up_edges(tx, assembly, broken=reason == "broken")
    return replace(tell_removal(tx, fact_id), part_count_refused=count_refused)


def tell_removal(tx: Tx, removal_id: int) -> ToolRemoved:
    """What a removal on record came to; a held count is not mentioned again.

    Raises:
        NotKnown: No removal that stands has that number.
    """
    mount = stay_of_removal(tx, removal_id)
    if mount is None or mount.reason is None or mount.removed_at is None:
        raise NotKnown(
            sentence(
                "There is no removal {removal_id}, or it was taken back.",
                removal_id=removal_id,
            ),
            facts={"fact": removal_id},
        )
    assembly = assembly_row(tx, mount.assembly_id)
    reason, status = mount.reason, status_after_removal(mount.reason)
    ended = reason not in STAYS_BUILT
    fates = fates_of_edges(tx, assembly, broken=reason == "broken") if ended else ()
    this, in_all = _worn(tx, assembly, mount.id, mount.removed_at)
    return ToolRemoved(
        fact_id=removal_id,
        code=assembly.code,
        station=station_row(tx, mount.station_id).mark,
        at=mount.removed_at,
        reason=reason,
        cutter_status=status,
        ended=ended,
        parts_made=this.parts,
        parts_in_all=in_all.parts,
        engaged_min=this.engaged_min,
        engaged_in_all_min=in_all.engaged_min,
        share_in_stay=this.life_share,
        share_of_life_used=in_all.life_share,
        basis=in_all.basis,
        edges=fates,
        edge_sentence=_edge_sentence(fates, assembly),
        holder_sentence=_holder_sentence(tx, assembly, status, ended=ended),
        part_count_refused=None,
    )


def _refuse_figures(command: RemoveTool) -> None:
    refuse_part_count(command.part_count)
    refuse_implausible(FLANK_WEAR, command.flank_wear_tenths_um, sentence("Flank wear"))


def _mount_of(tx: Tx, command: RemoveTool) -> MountRow:
    """The stay that ends."""
    if command.station is None and command.assembly is None:
        raise Invalid(
            sentence("Say which tool came out: scan the station or the tool."),
            errors=[{"field": "station", "detail": sentence("this or assembly")}],
        )
    mount = _in_station(tx, command.station) if command.station else None
    if command.assembly is None:
        assert mount is not None  # noqa: S101 - one of both was given
        return mount
    assembly = named_assembly(tx, command.assembly).row
    if mount is not None and mount.assembly_id != assembly.id:
        there = assembly_row(tx, mount.assembly_id)
        raise Conflict(
            sentence(
                "Station {station} holds {code}, not {code2}: scan the tool that came out.",
                station=there.station,
                code=there.code,
                code2=assembly.code,
            ),
            facts={"station": there.station, "assembly": there.code},
            errors=[
                {"field": "assembly", "detail": sentence("another tool sits in the station")}
            ],
        )
    found = mount_row(tx, assembly.mount_id) if assembly.mount_id is not None else None
    if found is None:
        raise NotMounted(
            sentence(
                "{code} sits in no station ({cutter_status}).",
                code=assembly.code,
                cutter_status=assembly.cutter_status,
            ),
            facts={"assembly": assembly.code, "cutter_status": assembly.cutter_status},
        )
    return found


def _in_station(tx: Tx, text: str) -> MountRow:
    found = resolve_station(tx, text)
    mount = last_in_station(tx, found.id)
    if mount is None or mount.removal_id is not None:
        raise NotMounted(
            sentence("Station {mark} is empty: nothing can come out of it.", mark=found.mark),
            facts={"station": found.mark},
        )
    return mount


def _after_what_is_known(
    tx: Tx, told: WhoAndWhen, mount: MountRow, assembly: AssemblyRow, station: StationRow
) -> WhoAndWhen:
    """The removal as it is recorded; refused before its mount or last offset step."""
    told = refuse_before(
        told,
        mount.at,
        sentence("{code} went into {mark}", code=assembly.code, mark=station.mark),
    )
    steps = corrections_of(tx, mount.id)
    if not steps:
        return told
    return refuse_before(
        told, steps[-1].at, sentence("the offset of {mark} was stepped", mark=station.mark)
    )


def _refuse_to_go_on_broken(
    tx: Tx, mount: MountRow, assembly: AssemblyRow, reason: str
) -> None:
    """A tool whose edge is on record as broken does not stay built."""
    signal = breakage_of(tx, mount.id)
    if signal is not None and reason in STAYS_BUILT:
        raise Conflict(
            sentence(
                "The edge of {code} is on record as broken since {at} ({signal}): take "
                "it out as broken, or take the signal back first (fact {fact_id}) if "
                "the edge is whole.",
                code=assembly.code,
                at=print_instant(signal.at),
                signal=signal.signal,
                fact_id=signal.fact_id,
            ),
            facts={"assembly": assembly.code, "fact_id": signal.fact_id},
            errors=[{"field": "reason", "detail": sentence("the edge is on record as broken")}],
        )


def _worn(
    tx: Tx, assembly: AssemblyRow, mount_id: int, until: datetime
) -> tuple[StayWear, StayWear]:
    """What this stay took, and all stays of the edge together."""
    stays = stays_of_assembly(tx, assembly.id)
    worn = wear_of_stays(tx, assembly, stays, until)
    this = next(one for stay, one in zip(stays, worn, strict=True) if stay.id == mount_id)
    return this, sum(worn, NOTHING)


def _edge_sentence(fates: tuple[EdgeFate, ...], assembly: AssemblyRow) -> str:
    if not fates:
        return sentence("The edge stays in {code}; its preset still holds.", code=assembly.code)
    return together(" ", (fate.sentence for fate in fates))


def _holder_sentence(tx: Tx, assembly: AssemblyRow, status: str, *, ended: bool) -> str:
    holder = holder_row(tx, assembly.holder_id)
    back = sentence(", place {location}", location=holder.location) if holder.location else ""
    if not ended:
        return sentence(
            "Holder {mark} stays built: back to the rack{back}.", mark=holder.mark, back=back
        )
    look = sentence(" Look at its seat before it is built again.") if status == BROKEN else ""
    return sentence(
        "Holder {mark} is free: to the bench{back}.{look}",
        mark=holder.mark,
        back=back,
        look=look,
    )
