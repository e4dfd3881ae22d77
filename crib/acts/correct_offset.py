"""Offset steps: what the control holds now, and what each step tells."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.acts.name_cause import name_cause
from crib.acts.station_datum import (
    AxisDatum,
    StationFollowed,
    datum_by_axis,
    follow_station,
)
from crib.acts.station_offsets import apply_step, figures_of, offsets_now
from crib.acts.who_and_when import place_after, record, who_and_when
from crib.clock import print_instant
from crib.errors import Invalid, NotKnown, NotMounted
from crib.metrology.causes import MOST_CHANGE_MM
from crib.metrology.offset import AXES, AxisOffset
from crib.records.measures import CHANGE
from crib.sentence import figure, sentence, together
from crib.store.assemblies import assembly_row
from crib.store.engine import Tx
from crib.store.mounts import (
    CorrectionRow,
    MountRow,
    correction_row,
    corrections_of,
    insert_correction,
    last_in_station,
    mount_covering,
    mount_row,
)
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow, station_row
from crib.units import TENTHS_UM_PER_MM

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
        datum: What is known of the station's datum by now; None for a size step.
    """

    fact_id: int
    code: str
    station: str
    at: datetime
    offset: AxisOffset
    steps_tenths_um: int
    learned: str
    datum: AxisDatum | None


def correct_offset(tx: Tx, present: datetime, command: CorrectOffset) -> OffsetCorrected:
    """Record an offset step of the tool that was in the station at that instant.

    Raises:
        NotMounted: Nothing was in the station then.
        Invalid: No such axis or kind, or a step that the control cannot hold.
        NotKnown: A code that nothing carries.
    """
    told = who_and_when(tx, present, command)
    axis, kind = _axis_and_kind(command)
    station = station_row(tx, resolve_station(tx, command.station).id)
    sitting = last_in_station(tx, station.id)
    if sitting is not None and sitting.removal_id is None:
        told = place_after(told, sitting.at)
    mount = mount_covering(tx, station.id, told.at)
    if mount is None:
        raise NotMounted(
            sentence(
                "Nothing was in station {mark} at {at}: record the mount first.",
                mark=station.mark,
                at=print_instant(told.at),
            ),
            facts={"station": station.mark},
        )
    earlier = corrections_of(tx, mount.id)
    before = _axis_now(station, mount, earlier, axis)
    apply_step(station, before, command.change_tenths_um)  # refuses what no control can hold
    fact_id = record(tx, "correction", told)
    insert_correction(
        tx,
        fact_id,
        mount_id=mount.id,
        axis=axis,
        change_tenths_um=command.change_tenths_um,
        kind=kind,
    )
    return tell_correction(tx, fact_id)


def tell_correction(tx: Tx, correction_id: int) -> OffsetCorrected:
    """What the control holds of the axis of a step on record, and what its steps tell.

    Raises:
        NotKnown: No step that stands has that number.
    """
    step = correction_row(tx, correction_id)
    mount = mount_row(tx, step.mount_id) if step else None
    if step is None or mount is None:
        raise NotKnown(
            sentence(
                "There is no offset step {correction_id}, or it was taken back.",
                correction_id=correction_id,
            ),
            facts={"fact": correction_id},
        )
    station, axis = station_row(tx, mount.station_id), step.axis
    steps = [one for one in corrections_of(tx, mount.id) if one.axis == axis]
    datum = None
    if step.correction_kind == "first_off":
        followed = follow_station(tx, station, step.at)
        learned = _learned_first_off(tx, station, mount, axis, steps, followed, step.at)
        datum = {one.axis: one for one in datum_by_axis(station, followed)}.get(axis)
    else:
        learned = _learned_size(station, axis, steps)
    return OffsetCorrected(
        fact_id=correction_id,
        code=assembly_row(tx, mount.assembly_id).code,
        station=station.mark,
        at=step.at,
        offset=_axis_now(station, mount, tuple(steps), axis),
        steps_tenths_um=sum(one.change_tenths_um for one in steps),
        learned=learned,
        datum=datum,
    )


def _axis_and_kind(command: CorrectOffset) -> tuple[str, str]:
    axis = command.axis.strip().upper()
    kind = command.kind.strip().lower().replace(" ", "_").replace("-", "_")
    errors = []
    if axis not in AXES:
        errors.append(
            {"field": "axis", "detail": sentence("one of {axes}", axes=together(", ", AXES))}
        )
    if kind not in KINDS:
        errors.append(
            {"field": "kind", "detail": sentence("one of {kinds}", kinds=together(", ", KINDS))}
        )
    if command.change_tenths_um == 0 and kind != "first_off":
        errors.append({"field": "change_mm", "detail": sentence("is zero: that is no step")})
    step_mm = command.change_tenths_um / TENTHS_UM_PER_MM
    if not CHANGE.bounds.admits(step_mm):
        slip = CHANGE.bounds.question(step_mm) or sentence(" Check the point.")
        detail = sentence(
            "{step_mm} mm is not plausible; {bounds} mm is.{slip}",
            step_mm=figure(step_mm, "g"),
            bounds=CHANGE.bounds,
            slip=slip,
        )
        errors.append({"field": "change_mm", "detail": detail})
    if errors:
        said_so = together(
            "; ", [together(": ", (error["field"], error["detail"])) for error in errors]
        )
        end = "" if said_so.endswith((".", "?")) else "."
        raise Invalid(
            sentence("That is not an offset step: {said_so}{end}", said_so=said_so, end=end),
            errors=errors,
        )
    return axis, kind


def _axis_now(
    station: StationRow, mount: MountRow, steps: tuple[CorrectionRow, ...], axis: str
) -> AxisOffset:
    for offset in offsets_now(station, mount, steps):
        if offset.axis == axis:
            return offset
    raise Invalid(
        sentence(
            "Station {mark} sets no {axis}: no measure moves that axis, and it has no "
            "datum there.",
            mark=station.mark,
            axis=axis,
        ),
        errors=[
            {
                "field": "axis",
                "detail": sentence(
                    "station {mark} sets no {axis}", mark=station.mark, axis=axis
                ),
            }
        ],
    )


def _on_diameter(figure: str, station: StationRow, axis: str) -> str:
    return (
        sentence("{figure} on diameter", figure=figure)
        if axis == "X" and station.x_on_diameter
        else figure
    )


def _learned_first_off(
    tx: Tx,
    station: StationRow,
    mount: MountRow,
    axis: str,
    steps: list[CorrectionRow],
    followed: StationFollowed,
    at: datetime,
) -> str:
    """The datum of the station: this error, where it puts the datum, and why it jumped."""
    this = sum(step.change_tenths_um for step in steps if step.correction_kind == "first_off")
    one = followed.axes.get(axis)
    figures = figures_of(station)
    lay = _on_diameter(figures.exact(this, sign=True), station, axis)
    seen = sentence(
        "{axis} of station {mark} lay {lay} off what was keyed in",
        axis=axis,
        mark=station.mark,
        lay=lay,
    )
    if one is None or one.verdict == "none" or not followed.speaks(mount.id, axis):
        return sentence(
            "{seen}; the station's record was changed since, it counts from now on.", seen=seen
        )
    sigmas = abs(float(one.track.sigmas[0, -1]))
    far = (
        sentence(" ({sigmas} standard deviations)", sigmas=figure(sigmas, ".1f"))
        if np.isfinite(sigmas)
        else ""
    )
    reach: str = figures.up(float(one.track.reach[0]))
    if axis == "X" and station.x_on_diameter:
        reach = sentence("{reach} as radius", reach=reach)
    datum = (
        sentence(
            "the datum is learned as {of_mm} ± {reach} (95 %), {exact} from the one on "
            "record, by {looks} first-offs",
            of_mm=figures.of_mm(one.datum_mm),
            reach=reach,
            exact=figures.exact(one.shift_tenths_um, sign=True),
            looks=one.looks,
        )
        if one.looks > 1
        else sentence(
            "the datum is learned as {of_mm} ± {reach} (95 %), {exact} from the one on "
            "record, by {looks} first-off",
            of_mm=figures.of_mm(one.datum_mm),
            reach=reach,
            exact=figures.exact(one.shift_tenths_um, sign=True),
            looks=one.looks,
        )
    )
    if one.verdict == "held_apart":
        cause = name_cause(tx, station, axis, at)
        return (
            sentence(
                "{seen}{far}: a jump. Station moved? It is held apart until a second "
                "first-off agrees; {datum} without it. {cause}",
                seen=seen,
                far=far,
                datum=datum,
                cause=cause,
            )
            if cause
            else sentence(
                "{seen}{far}: a jump. Station moved? It is held apart until a second "
                "first-off agrees; {datum} without it.",
                seen=seen,
                far=far,
                datum=datum,
            )
        )
    if one.verdict == "taken_as_step":
        cause = name_cause(tx, station, axis, at)
        return (
            sentence(
                "{seen}; it agrees with the jump before it, taken as a step: {datum}. {cause}",
                seen=seen,
                datum=datum,
                cause=cause,
            )
            if cause
            else sentence(
                "{seen}; it agrees with the jump before it, taken as a step: {datum}.",
                seen=seen,
                datum=datum,
            )
        )
    return together("", (seen, far, "; ", datum, "."))


def _learned_size(station: StationRow, axis: str, steps: list[CorrectionRow]) -> str:
    """The wear so far: the part had grown by what was taken back."""
    sizes = [step.change_tenths_um for step in steps if step.correction_kind == "size"]
    total = sum(sizes)
    count = (
        sentence("{sizes} size steps", sizes=len(sizes))
        if len(sizes) > 1
        else sentence("{sizes} size step", sizes=len(sizes))
    )
    figures = figures_of(station)
    come = _on_diameter(figures.exact(total, sign=True), station, axis)
    text = sentence(
        "{count} on {axis} since the mount come to {come}", count=count, axis=axis, come=come
    )
    one_side = abs(total) / (2 if axis == "X" and station.x_on_diameter else 1)
    if one_side > MOST_CHANGE_MM * TENTHS_UM_PER_MM:
        return sentence(
            "{text}: more than wear makes. Do not run on it: look at the figure and "
            "its sign, and take the step back if it was mistyped.",
            text=text,
        )
    if axis != "X":
        return sentence(
            "{text}: the edge has worn by as much along {axis}.", text=text, axis=axis
        )
    growth = abs(total) * (1 if station.x_on_diameter else 2)
    return sentence(
        "{text}: wear has changed the part by {exact} on diameter so far.",
        text=text,
        exact=figures.exact(growth),
    )
