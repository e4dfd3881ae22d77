"""Offset steps: what the control holds now, and what each step tells."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.clock import print_instant
from crib.errors import Invalid, NotMounted
from crib.metrology.offset import AXES, AxisOffset
from crib.store.assemblies import assembly_row
from crib.store.engine import Tx
from crib.store.mounts import (
    CorrectionRow,
    MountRow,
    corrections_of,
    first_offs_of_station,
    insert_correction,
    mount_covering,
)
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow, station_row
from crib.units import mm_from_tenths_um
from crib.usecases.said import record, said
from crib.usecases.station_offsets import apply_step, offsets_now

#: A step beyond this is a slip of the keyboard [0.1 µm].
MOST_STEP_TENTHS_UM = 100_000

KINDS = ("first_off", "size")


@dataclass(frozen=True, slots=True)
class CorrectOffset:
    """A step of one axis in the control's own figures.

    Attributes:
        station: Code of the station or MACHINE/STATION.
        axis: X, Y or Z.
        change_tenths_um: The step, on diameter where the control takes X so [0.1 µm].
        kind: ``first_off`` after the first part, ``size`` later.
    """

    station: str
    axis: str
    change_tenths_um: int
    kind: str
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class OffsetCorrected:
    """What the control holds after a step.

    Attributes:
        fact_id: The correction.
        code: The tool that it concerns.
        station: MACHINE/STATION.
        at: When.
        offset: The axis after the step.
        steps_tenths_um: Sum of the steps of this axis since the mount [0.1 µm].
        learned: What the step tells, in a sentence.
    """

    fact_id: int
    code: str
    station: str
    at: datetime
    offset: AxisOffset
    steps_tenths_um: int
    learned: str


def correct_offset(tx: Tx, present: datetime, command: CorrectOffset) -> OffsetCorrected:
    """Record an offset step of the tool that was in the station at that instant.

    Raises:
        NotMounted: Nothing was in the station then.
        Invalid: No such axis or kind, or a step that the control cannot hold.
        NotKnown: A code that nothing carries.
    """
    told = said(tx, present, command)
    axis, kind = _axis_and_kind(command)
    station = station_row(tx, resolve_station(tx, command.station).id)
    mount = mount_covering(tx, station.id, told.at)
    if mount is None:
        raise NotMounted(
            f"Nothing was in station {station.mark} at {print_instant(told.at)}: record the "
            "mount first.",
            facts={"station": station.mark},
        )
    earlier = corrections_of(tx, mount.id)
    before = _axis_now(station, mount, earlier, axis)
    offset = apply_step(station, before, command.change_tenths_um)
    fact_id = record(tx, "correction", told)
    insert_correction(
        tx,
        fact_id,
        mount_id=mount.id,
        axis=axis,
        change_tenths_um=command.change_tenths_um,
        kind=kind,
    )
    steps = [step for step in corrections_of(tx, mount.id) if step.axis == axis]
    learned = (
        _learned_first_off(tx, station, axis, steps)
        if kind == "first_off"
        else _learned_size(station, axis, steps)
    )
    return OffsetCorrected(
        fact_id=fact_id,
        code=assembly_row(tx, mount.assembly_id).code,
        station=station.mark,
        at=told.at,
        offset=offset,
        steps_tenths_um=sum(step.change_tenths_um for step in steps),
        learned=learned,
    )


def _axis_and_kind(command: CorrectOffset) -> tuple[str, str]:
    axis = command.axis.strip().upper()
    kind = command.kind.strip().lower().replace(" ", "_").replace("-", "_")
    errors = []
    if axis not in AXES:
        errors.append({"field": "axis", "detail": f"one of {', '.join(AXES)}"})
    if kind not in KINDS:
        errors.append({"field": "kind", "detail": f"one of {', '.join(KINDS)}"})
    if command.change_tenths_um == 0:
        errors.append({"field": "change_mm", "detail": "is zero: nothing was stepped"})
    if abs(command.change_tenths_um) > MOST_STEP_TENTHS_UM:
        most = mm_from_tenths_um(MOST_STEP_TENTHS_UM)
        errors.append({"field": "change_mm", "detail": f"at most {most} mm; check the point"})
    if errors:
        said_so = "; ".join(f"{error['field']}: {error['detail']}" for error in errors)
        raise Invalid(f"That is no offset step: {said_so}.", errors=errors)
    return axis, kind


def _axis_now(
    station: StationRow, mount: MountRow, steps: tuple[CorrectionRow, ...], axis: str
) -> AxisOffset:
    for offset in offsets_now(station, mount, steps):
        if offset.axis == axis:
            return offset
    raise Invalid(
        f"Station {station.mark} sets no {axis}: no measure moves that axis, and it has no "
        "datum there.",
        errors=[{"field": "axis", "detail": f"station {station.mark} sets no {axis}"}],
    )


def _figures(station: StationRow, axis: str) -> str:
    return " on diameter" if axis == "X" and station.x_on_diameter else ""


def _signed(length_tenths_um: int) -> str:
    return ("+" if length_tenths_um > 0 else "") + mm_from_tenths_um(length_tenths_um)


def _learned_first_off(
    tx: Tx, station: StationRow, axis: str, steps: list[CorrectionRow]
) -> str:
    """The datum of the station: this error, and the mean of all first-offs there."""
    this = sum(step.change_tenths_um for step in steps if step.correction_kind == "first_off")
    sums = first_offs_of_station(tx, station.id, axis)
    mean = round(sum(sums) / len(sums))
    how = _figures(station, axis)
    sentence = f"{axis} of station {station.mark} lay {_signed(this)} mm{how} off its datum"
    if len(sums) == 1:
        return f"{sentence}: the first first-off on record there."
    return f"{sentence}; {len(sums)} first-offs there come to {_signed(mean)} mm on average."


def _learned_size(station: StationRow, axis: str, steps: list[CorrectionRow]) -> str:
    """The wear so far: the part had grown by what was taken back."""
    sizes = [step.change_tenths_um for step in steps if step.correction_kind == "size"]
    total = sum(sizes)
    count = f"{len(sizes)} size step{'s' if len(sizes) > 1 else ''}"
    sentence = f"{count} on {axis} since the mount come to {_signed(total)} mm"
    if axis != "X":
        return f"{sentence}: the edge has worn by as much along {axis}."
    growth = abs(total) * (1 if station.x_on_diameter else 2)
    return (
        f"{sentence}{_figures(station, axis)}: wear has changed the part by "
        f"{mm_from_tenths_um(growth)} mm on diameter so far."
    )
