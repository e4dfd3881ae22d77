"""What the control of a station holds: keyed in at the mount, and stepped since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from crib.metrology.figures import Figures
from crib.metrology.offset import (
    AXES,
    AxisOffset,
    LearnedDatum,
    StationGeometry,
    apply_correction,
    key_in_text,
    keyed_tenths_um,
    offsets_to_key_in,
)
from crib.store.mounts import CorrectionRow, MountRow
from crib.store.presets import PresetRow
from crib.store.stations import StationRow
from crib.units import TenthsUm


def figures_of(station: StationRow) -> Figures:
    """How the station's control writes lengths."""
    return Figures(station.offset_unit, station.offset_increment_tenths_um)


def geometry_of(station: StationRow) -> StationGeometry:
    """The station as far as its offsets are concerned."""
    return StationGeometry(
        station.axis_x,
        station.axis_y,
        station.axis_z,
        TenthsUm(station.datum_x_tenths_um),
        TenthsUm(station.datum_y_tenths_um),
        TenthsUm(station.datum_z_tenths_um),
        station.x_on_diameter,
        station.offset_unit,
        TenthsUm(station.offset_increment_tenths_um),
    )


def offsets_of_preset(
    station: StationRow,
    preset: PresetRow,
    learned: Mapping[str, LearnedDatum] | None = None,
) -> tuple[AxisOffset, ...]:
    """What to key in for a preset; the values are what the control then holds.

    Args:
        station: Where it goes.
        preset: The measures.
        learned: What first-offs showed of the datum of an axis; elsewhere the record is used.

    Raises:
        Invalid: The station needs a measure that was not taken.
    """
    uncertainties = {
        name.upper(): value for name, value in preset.expanded_uncertainty_mm.items()
    }
    return tuple(
        replace(
            offset,
            value_tenths_um=keyed_tenths_um(
                offset.value_tenths_um,
                station.offset_unit,
                station.offset_increment_tenths_um,
            ),
        )
        for offset in offsets_to_key_in(
            preset.measures_tenths_um(), geometry_of(station), uncertainties, learned
        )
    )


def offsets_now(
    station: StationRow, mount: MountRow, corrections: Sequence[CorrectionRow]
) -> tuple[AxisOffset, ...]:
    """What the control holds for a stay: as mounted, with every step since."""
    found = []
    for axis in AXES:
        mounted = mount.offset_tenths_um(axis)
        if mounted is None:
            continue
        offset = AxisOffset(
            axis,
            TenthsUm(mounted),
            axis == "X" and station.x_on_diameter,
            key_in_text(mounted, station.offset_unit, station.offset_increment_tenths_um),
            station.offset_unit,
        )
        for step in corrections:
            if step.axis == axis:
                offset = apply_step(station, offset, step.change_tenths_um)
        found.append(offset)
    return tuple(found)


def apply_step(station: StationRow, offset: AxisOffset, change_tenths_um: int) -> AxisOffset:
    """The offset after one step.

    Raises:
        Invalid: The control cannot hold such a step.
    """
    return apply_correction(offset, change_tenths_um, station.offset_increment_tenths_um)
