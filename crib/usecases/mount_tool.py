"""Mounting a tool: right or wrong at once, and what to key in at the control."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.errors import AlreadyMounted, DoesNotFit, Invalid, StationOccupied
from crib.floor.cautions import mount_cautions
from crib.floor.mount import Mismatch, lowest_rpm
from crib.metrology.block import DEFAULT_TEMPLATE, BlockFacts, render_block
from crib.metrology.offset import AxisDifference, AxisOffset, difference
from crib.stock.assembly import ALLOCATED
from crib.store.assemblies import (
    AssemblyRow,
    assembly_row,
    set_state,
)
from crib.store.engine import Tx
from crib.store.mounts import (
    MountRow,
    corrections_of,
    insert_mount,
    last_in_station,
    stays_of_assembly,
)
from crib.store.presets import PresetRow, latest_preset
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow, station_row
from crib.store.stockrows import SpecRow, holder_row, spec_row
from crib.usecases.mount_check import speaks_against, tenths_or_none, too_early
from crib.usecases.named import named_assembly
from crib.usecases.report_counts import refuse_part_count, report_one
from crib.usecases.said import record, said
from crib.usecases.station_datum import DatumTold, datum_told, doubts, follow_station
from crib.usecases.station_offsets import offsets_now, offsets_of_preset
from crib.usecases.station_wear import NOTHING, wear_of_stays


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
        datum: What the first-offs there told of the station's datum, per axis.
        cautions: What to mind.
        part_count_refused: Why the part count was kept aside, if it was.
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
    datum: tuple[DatumTold, ...]
    cautions: tuple[str, ...]
    part_count_refused: str | None


def mount_tool(tx: Tx, present: datetime, command: MountTool) -> ToolMounted:
    """Mount a tool, or name everything that speaks against it.

    Raises:
        StationOccupied: Only that another tool sits there speaks against it.
        AlreadyMounted: Only that the tool sits in a station speaks against it.
        DoesNotFit: Anything else; ``errors`` lists every mismatch.
        Invalid: The instant or the part count cannot be.
        NotKnown: A code that nothing carries.
        BadCode: A code that is mistyped.
    """
    told = said(tx, present, command)
    station = station_row(tx, resolve_station(tx, command.station).id)
    named = named_assembly(tx, command.assembly)
    assembly = named.row
    refuse_part_count(command.part_count)
    spec = spec_row(tx, assembly.tool_spec_id)
    holder = holder_row(tx, assembly.holder_id)
    preset = latest_preset(tx, assembly.id)
    last = last_in_station(tx, station.id)
    scans = command.scanned_station, command.scanned_assembly
    problems = speaks_against(tx, scans, told.at, station, named, spec, holder, preset)
    problems += too_early(tx, told.at, station, last, assembly)
    offsets: tuple[AxisOffset, ...] = ()
    followed = follow_station(tx, station, told.at)
    if preset is not None:
        try:
            offsets = offsets_of_preset(station, preset, followed.learned())
        except Invalid as problem:
            problems.append(Mismatch("assembly", "measure-missing", problem.sentence))
    if problems or preset is None:
        raise _refusal(problems, assembly, station)

    old, was_there = _was_there(tx, station, last)
    fact_id = record(tx, "mount", told)
    insert_mount(
        tx,
        fact_id,
        station_id=station.id,
        assembly_id=assembly.id,
        preset_id=preset.id,
        part_count=command.part_count,
        offsets_tenths_um={one.axis: one.value_tenths_um for one in offsets},
    )
    set_state(tx, assembly.id, status=ALLOCATED, preset_id=preset.id)
    count_refused = None
    if command.part_count is not None:
        count_refused = report_one(
            tx, present, station.machine, told.at, command.part_count, command.by
        )
    block, block_problem = _block(station, assembly, spec, preset, offsets)
    limit = lowest_rpm(station.spindle_max_rpm, station.max_rpm, holder.max_rpm, spec.max_rpm)
    return ToolMounted(
        fact_id=fact_id,
        code=assembly.code,
        station=station.mark,
        station_code=station.code,
        at=told.at,
        cutter_status=ALLOCATED,
        offsets=offsets,
        differences=difference(offsets, old, station.offset_increment_tenths_um) if old else (),
        was_there=was_there,
        tip_orientation=spec.tip_orientation,
        nose_radius_tenths_um=_radius(spec, preset),
        block=block,
        block_problem=block_problem,
        limited_to_rpm=limit,
        datum=datum_told(station, followed),
        cautions=(
            *doubts(followed, station),
            *_cautions(tx, station, assembly, offsets, limit, told.at),
        ),
        part_count_refused=count_refused,
    )


def _radius(spec: SpecRow, preset: PresetRow) -> int | None:
    measured = preset.re_tenths_um
    return spec.nose_radius_tenths_um if measured is None else measured


def _refusal(
    problems: list[Mismatch], assembly: AssemblyRow, station: StationRow
) -> DoesNotFit | StationOccupied | AlreadyMounted:
    kind: type[DoesNotFit | StationOccupied | AlreadyMounted] = DoesNotFit
    slugs = [problem.slug for problem in problems]
    if slugs == ["station-occupied"]:
        kind = StationOccupied
    elif slugs == ["mounted-elsewhere"]:
        kind = AlreadyMounted
    return kind(
        " ".join(problem.sentence for problem in problems),
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


def _was_there(
    tx: Tx, station: StationRow, last: MountRow | None
) -> tuple[tuple[AxisOffset, ...], str | None]:
    """What the control held last for the station, and the tool that it was for."""
    if last is None:
        return (), None
    code = assembly_row(tx, last.assembly_id).code
    return offsets_now(station, last, corrections_of(tx, last.id)), code


def _block(
    station: StationRow,
    assembly: AssemblyRow,
    spec: SpecRow,
    preset: PresetRow,
    offsets: tuple[AxisOffset, ...],
) -> tuple[str | None, str | None]:
    facts = BlockFacts(
        station.machine,
        station.station,
        assembly.code,
        spec.tool_spec,
        station.tool_number,
        station.offset_register,
        spec.tip_orientation,
        tenths_or_none(_radius(spec, preset)),
    )
    try:
        return render_block(facts, offsets, station.block_template or DEFAULT_TEMPLATE), None
    except Invalid as problem:
        # a template that was broken by an edit must not keep a tool out of the machine
        return None, problem.sentence


def _cautions(
    tx: Tx,
    station: StationRow,
    assembly: AssemblyRow,
    offsets: tuple[AxisOffset, ...],
    limit_rpm: float | None,
    at: datetime,
) -> tuple[str, ...]:
    sets_x = any(offset.axis == "X" for offset in offsets)
    cautions = mount_cautions(
        x_on_diameter=station.x_on_diameter if sets_x else None,
        offset_unit=station.offset_unit,
        max_rpm=limit_rpm,
    )
    earlier = [stay for stay in stays_of_assembly(tx, assembly.id) if stay.removed_at]
    if not earlier:
        return cautions
    worn = sum(wear_of_stays(tx, assembly, earlier, at), NOTHING)
    share = "" if worn.life_share is None else f", about {worn.life_share:.0%} of its life"
    return (
        f"This edge has cut before: {worn.parts} parts{share}. Look at it before it goes in.",
        *cautions,
    )
