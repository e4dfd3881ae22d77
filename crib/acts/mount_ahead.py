"""What a mount would be: right or wrong, and what to key in; nothing is recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.expected_tool import expected_tool
from crib.acts.mount_check import check_mount, tenths_or_none, too_early
from crib.acts.named import NamedAssembly, named_assembly
from crib.acts.station_datum import AxisDatum, datum_by_axis, doubts, follow_station
from crib.acts.station_offsets import offsets_now, offsets_of_preset
from crib.acts.station_wear import NOTHING, wear_of_stays
from crib.acts.who_and_when import WhoAndWhen
from crib.errors import Invalid
from crib.floor.cautions import axis_cautions, mount_cautions, short_mount_cautions
from crib.floor.mount import Mismatch, lowest_rpm
from crib.metrology.block import DEFAULT_TEMPLATE, BlockFacts, render_block
from crib.metrology.offset import (
    AxisDifference,
    AxisOffset,
    difference,
    plain_text,
    x_on_diameter,
)
from crib.sentence import figure, sentence
from crib.store.assemblies import AssemblyRow, assembly_row
from crib.store.engine import Tx
from crib.store.mounts import (
    MountRow,
    corrections_of,
    last_in_station,
    stays_of_assembly,
)
from crib.store.presets import PresetRow, latest_preset
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow, station_row
from crib.store.stockrows import HolderRow, SpecRow, holder_row, spec_row
from crib.units import TenthsUm


@dataclass(frozen=True, slots=True)
class ToKeyIn:
    """What a tool in a station wants of the control, and what to mind.

    Attributes:
        offsets: Per axis, with uncertainty and the text for the control.
        differences: Per axis against what the control held before; empty where nothing was
            known to be there.
        was_there: Code of the tool that was in the station before, if any.
        tip_orientation: 0 to 9.
        nose_radius_tenths_um: Measured, else nominal [0.1 µm].
        nose_radius_text: The same as the control takes it, in its unit.
        unit: Unit of every length that is keyed in there: mm or in.
        block: Text for the control; None where the shop's template cannot be filled in.
        block_problem: Why it cannot.
        limited_to_rpm: Lowest speed limit of machine, station, holder and tool.
        datum: What the first-offs there showed of the station's datum, per axis.
        heed: What to mind with this tool in this station.
        axes: How the control takes figures, where that is easily mistaken.
    """

    offsets: tuple[AxisOffset, ...]
    differences: tuple[AxisDifference, ...]
    was_there: str | None
    tip_orientation: int | None
    nose_radius_tenths_um: int | None
    nose_radius_text: str | None
    unit: str
    block: str | None
    block_problem: str | None
    limited_to_rpm: float | None
    datum: tuple[AxisDatum, ...]
    heed: tuple[str, ...]
    axes: tuple[str, ...]

    @property
    def short(self) -> tuple[str, ...]:
        """The usual cautions in three lines."""
        return short_mount_cautions(self.axes)

    @property
    def usual(self) -> tuple[str, ...]:
        """The usual cautions in full, but for what ``axes`` says."""
        return mount_cautions(max_rpm=self.limited_to_rpm)

    @property
    def cautions(self) -> tuple[str, ...]:
        """All that is to mind."""
        return (*self.heed, *mount_cautions(self.axes, self.limited_to_rpm))


@dataclass(frozen=True, slots=True)
class MountAhead:
    """A mount that somebody thinks of.

    Attributes:
        at: When it would be recorded to have happened.
        station: Where the tool would go.
        assembly: The tool.
        spec: What it was built to.
        preset: Its latest preset.
        problems: Every mismatch; empty where it may go in.
        key_in: What to key in; None where its measures are not known.
        checked_for: Part whose program it was compared with; None where there is no job.
        not_compared: What was not checked, where there is no such part.
    """

    at: datetime
    station: StationRow
    assembly: AssemblyRow
    spec: SpecRow
    preset: PresetRow | None
    problems: tuple[Mismatch, ...]
    key_in: ToKeyIn | None
    checked_for: str | None = None
    not_compared: str | None = None


def look_at_mount(
    tx: Tx,
    at: datetime,
    station_text: str,
    assembly_text: str,
    scans: tuple[str | None, str | None] = (None, None),
    *,
    present: datetime | None = None,
) -> MountAhead:
    """Hold a tool against a station, without recording anything.

    Args:
        tx: An open transaction.
        at: Instant of the mount.
        station_text: Code of the station or MACHINE/STATION.
        assembly_text: Code of the tool's label, or its holder.
        scans: What the scanner read at the station and on the tool beside, None where nothing.
        present: Now; left out, the mount is one of now.

    Raises:
        NotKnown: A code that nothing carries.
        BadCode: A code that is mistyped.
    """
    station = station_row(tx, resolve_station(tx, station_text).id)
    named = named_assembly(tx, assembly_text)
    return check_resolved(tx, at, station, named, scans, present=present)


def check_resolved(
    tx: Tx,
    at: datetime,
    station: StationRow,
    named: NamedAssembly,
    scans: tuple[str | None, str | None] = (None, None),
    *,
    present: datetime | None = None,
) -> MountAhead:
    """The same for a station and a tool that were found already."""
    assembly = named.row
    spec = spec_row(tx, assembly.tool_spec_id)
    holder = holder_row(tx, assembly.holder_id)
    preset = latest_preset(tx, assembly.id)
    last = last_in_station(tx, station.id)
    told = WhoAndWhen(at, present or at, None, None)
    at, early = too_early(tx, told, station, last, assembly)
    expected = expected_tool(tx, station, at, spec.id).expected
    check = check_mount(tx, scans, at, station, named, spec, holder, preset, expected)
    problems = [*check.problems, *early]
    key_in = None
    if preset is not None:
        try:
            key_in = what_to_key_in(tx, at, station, assembly, spec, holder, preset, last)
        except Invalid as problem:
            problems.append(Mismatch("assembly", "measure-missing", problem.sentence))
    return MountAhead(
        at,
        station,
        assembly,
        spec,
        preset,
        tuple(problems),
        key_in,
        expected.part if expected else None,
        check.not_compared,
    )


def what_to_key_in(
    tx: Tx,
    at: datetime,
    station: StationRow,
    assembly: AssemblyRow,
    spec: SpecRow,
    holder: HolderRow,
    preset: PresetRow,
    before: MountRow | None,
) -> ToKeyIn:
    """What the control wants for a tool in a station.

    Args:
        tx: An open transaction.
        at: Instant of the mount.
        station: Where it goes.
        assembly: The tool.
        spec: What it was built to.
        holder: What it was built on.
        preset: Its measures.
        before: The stay in the station before this one.

    Raises:
        Invalid: The station needs a measure that was not taken.
    """
    followed = follow_station(tx, station, at)
    offsets = offsets_of_preset(station, preset, followed.learned())
    old = offsets_now(station, before, corrections_of(tx, before.id)) if before else ()
    block, block_problem = _block(station, assembly, spec, preset, offsets)
    limit = lowest_rpm(station.spindle_max_rpm, station.max_rpm, holder.max_rpm, spec.max_rpm)
    return ToKeyIn(
        offsets=offsets,
        differences=difference(offsets, old, station.offset_increment_tenths_um) if old else (),
        was_there=assembly_row(tx, before.assembly_id).code if before else None,
        tip_orientation=spec.tip_orientation,
        nose_radius_tenths_um=_radius(spec, preset),
        nose_radius_text=_radius_text(station, spec, preset),
        unit=station.offset_unit,
        block=block,
        block_problem=block_problem,
        limited_to_rpm=limit,
        datum=datum_by_axis(station, followed),
        heed=(*doubts(followed, station), *_has_cut(tx, assembly, at)),
        axes=axis_cautions(x_on_diameter(offsets), station.offset_unit),
    )


def _radius(spec: SpecRow, preset: PresetRow) -> int | None:
    measured = preset.re_tenths_um
    return spec.nose_radius_tenths_um if measured is None else measured


def _radius_text(station: StationRow, spec: SpecRow, preset: PresetRow) -> str | None:
    radius = _radius(spec, preset)
    if radius is None:
        return None
    return plain_text(radius, station.offset_unit, station.offset_increment_tenths_um)


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
        TenthsUm(station.offset_increment_tenths_um),
    )
    try:
        return render_block(facts, offsets, station.block_template or DEFAULT_TEMPLATE), None
    except Invalid as problem:
        # a template that was broken by an edit must not keep a tool out of the machine
        return None, problem.sentence


def _has_cut(tx: Tx, assembly: AssemblyRow, at: datetime) -> tuple[str, ...]:
    earlier = [stay for stay in stays_of_assembly(tx, assembly.id) if stay.removed_at]
    if not earlier:
        return ()
    worn = sum(wear_of_stays(tx, assembly, earlier, at), NOTHING)
    share = (
        ""
        if worn.life_share is None
        else sentence(
            ", about {life_share} of its life", life_share=figure(worn.life_share, ".0%")
        )
    )
    return (
        sentence(
            "This edge has cut before: {parts} parts{share}. Look at it before it goes in.",
            parts=worn.parts,
            share=share,
        ),
    )
