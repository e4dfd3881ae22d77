"""Mounting a tool: right or wrong at once, and what to key in at the control."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from crib.acts.mount_ahead import look_at_mount
from crib.acts.station_datum import AxisDatum
from crib.acts.told_count import refuse_part_count, report_one
from crib.acts.who_and_when import record, who_and_when
from crib.errors import AlreadyMounted, DoesNotFit, StationOccupied
from crib.floor.mount import Mismatch
from crib.metrology.offset import AxisDifference, AxisOffset
from crib.sentence import together
from crib.stock.assembly import ALLOCATED
from crib.store.assemblies import AssemblyRow, set_state
from crib.store.engine import Tx
from crib.store.mounts import insert_mount
from crib.store.stations import StationRow


@dataclass(frozen=True, slots=True)
class MountTool:
    """Put a tool into a station.

    Attributes:
        station: Code of the station or MACHINE/STATION.
        assembly: Code of the tool's label, or its holder.
        part_count: What the machine's counter says.
        scanned_station: What the scanner read at the station, beside ``station``.
        scanned_assembly: What the scanner read on the tool, beside ``assembly``.
    """

    station: str
    assembly: str
    part_count: int | None = None
    scanned_station: str | None = None
    scanned_assembly: str | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class ToolMounted:
    """What to key in, and what to mind.

    Attributes:
        fact_id: The mount.
        code: The assembly's code.
        station: MACHINE/STATION.
        station_code: Its code.
        at: When.
        cutter_status: What the tool is now.
        offsets: Per axis, with uncertainty and the text for the control.
        differences: Per axis against what the control held before; empty where nothing was
            known to be there.
        was_there: Code of the tool that was in the station before, if any.
        tip_orientation: 0 to 9.
        nose_radius_tenths_um: Measured, else nominal [0.1 µm].
        block: Text for the control; None where the shop's template cannot be filled in.
        block_problem: Why it cannot.
        limited_to_rpm: Lowest speed limit of machine, station, holder and tool.
        datum: What the first-offs there showed of the station's datum, per axis.
        cautions: What to mind.
        checked_for: Part whose program it was compared with; None where there is no job.
        part_count_refused: Why the part count is held, if it is.
    """

    fact_id: int
    code: str
    station: str
    station_code: str
    at: datetime
    cutter_status: str
    offsets: tuple[AxisOffset, ...]
    differences: tuple[AxisDifference, ...]
    was_there: str | None
    tip_orientation: int | None
    nose_radius_tenths_um: int | None
    block: str | None
    block_problem: str | None
    limited_to_rpm: float | None
    datum: tuple[AxisDatum, ...]
    cautions: tuple[str, ...]
    checked_for: str | None
    part_count_refused: str | None


def mount_tool(tx: Tx, present: datetime, command: MountTool) -> ToolMounted:
    """Mount a tool, or name every mismatch.

    Raises:
        StationOccupied: The only mismatch: another tool sits there.
        AlreadyMounted: The only mismatch: the tool sits in a station.
        DoesNotFit: Anything else; ``errors`` lists every mismatch.
        Invalid: The instant or the part count cannot be.
        NotKnown: A code that nothing carries.
        BadCode: A code that is mistyped.
    """
    told = who_and_when(tx, present, command)
    refuse_part_count(command.part_count)
    scans = command.scanned_station, command.scanned_assembly
    ahead = look_at_mount(
        tx, told.at, command.station, command.assembly, scans, present=present
    )
    station, assembly, key_in = ahead.station, ahead.assembly, ahead.key_in
    if ahead.problems or ahead.preset is None or key_in is None:
        raise _refusal(ahead.problems, assembly, station)

    told = replace(told, at=ahead.at)
    fact_id = record(tx, "mount", told)
    insert_mount(
        tx,
        fact_id,
        station_id=station.id,
        assembly_id=assembly.id,
        preset_id=ahead.preset.id,
        part_count=command.part_count,
        offsets_tenths_um={one.axis: one.value_tenths_um for one in key_in.offsets},
    )
    set_state(tx, assembly.id, status=ALLOCATED, preset_id=ahead.preset.id)
    count_refused = None
    if command.part_count is not None:
        count_refused = report_one(
            tx, present, station, told.at, command.part_count, command.by
        )
    return ToolMounted(
        fact_id=fact_id,
        code=assembly.code,
        station=station.mark,
        station_code=station.code,
        at=told.at,
        cutter_status=ALLOCATED,
        offsets=key_in.offsets,
        differences=key_in.differences,
        was_there=key_in.was_there,
        tip_orientation=key_in.tip_orientation,
        nose_radius_tenths_um=key_in.nose_radius_tenths_um,
        block=key_in.block,
        block_problem=key_in.block_problem,
        limited_to_rpm=key_in.limited_to_rpm,
        datum=key_in.datum,
        cautions=(*([ahead.not_compared] if ahead.not_compared else []), *key_in.cautions),
        checked_for=ahead.checked_for,
        part_count_refused=count_refused,
    )


def _refusal(
    problems: tuple[Mismatch, ...], assembly: AssemblyRow, station: StationRow
) -> DoesNotFit | StationOccupied | AlreadyMounted:
    kind: type[DoesNotFit | StationOccupied | AlreadyMounted] = DoesNotFit
    slugs = [problem.slug for problem in problems]
    if slugs == ["station-occupied"]:
        kind = StationOccupied
    elif slugs == ["mounted-elsewhere"]:
        kind = AlreadyMounted
    return kind(
        together(" ", (problem.sentence for problem in problems)),
        facts={
            "assembly": assembly.code,
            "station": station.mark,
            "mismatches": slugs,
        },
        errors=[
            {"field": problem.field, "detail": problem.sentence, "slug": problem.slug}
            for problem in problems
        ],
    )
