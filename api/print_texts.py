"""What labels say about the things of the shop: rows become text in the site's time zone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from api.settings import Settings
from crib.acts.expected_tool import runs_that_count
from crib.acts.named import NamedAssembly, named_assembly
from crib.acts.recipe import recipe_of
from crib.acts.station_datum import follow_station
from crib.acts.station_offsets import offsets_of_preset
from crib.errors import Invalid
from crib.metrology.offset import AxisOffset, plain_text
from crib.records.catalogue import (
    CUTTING_ITEMS,
    GAUGES,
    HOLDER_TYPES,
    HOLDERS,
    LOTS,
    MACHINES,
    PEOPLE,
    STATIONS,
)
from crib.store.engine import Tx
from crib.store.presets import PresetRow, last_check, latest_preset
from crib.store.records import get_record, list_records
from crib.store.resolve import resolve, resolve_station
from crib.store.stations import StationRow, station_row, stations_expecting
from crib.units import mm_from_tenths_um, nominal_mm_from_tenths_um
from labels.kinds import (
    AssemblyLabel,
    BadgeLabel,
    GaugeLabel,
    HolderTag,
    Label,
    LotLabel,
    OffsetText,
    StationPlate,
)


@dataclass(frozen=True, slots=True)
class Printing:
    """What a label is printed from and for.

    Attributes:
        tx: An open transaction.
        present: Now.
        settings: The site's zone.
        station: Station that assembly labels are for, None to find the one that wants them.
    """

    tx: Tx
    present: datetime
    settings: Settings
    station: str | None = None

    def local(self, at: datetime | None) -> str:
        """An instant as people at the site read it."""
        return self.settings.local(at)


def label_of(printing: Printing, text: str) -> Label:
    """The label of what a code or mark names; an assembly's earlier label gives the present.

    Raises:
        BadCode: It is mistyped.
        NotKnown: Nothing here carries it.
    """
    found = resolve(printing.tx, text)
    if found.kind == "A":
        return assembly_label(printing, named_assembly(printing.tx, text, field="code"))
    return _LABELS[found.kind](printing, found.id)


def assembly_label(printing: Printing, named: NamedAssembly) -> AssemblyLabel:
    """The label of a tool: with the offsets of the station that it goes to, if one is known."""
    tx, row = printing.tx, named.row
    recipe = recipe_of(tx, row)
    preset = latest_preset(tx, row.id)
    if preset is not None and not preset.accepted:
        preset = None
    target = _target(printing, row.station_id, row.tool_spec_id)
    radius = (preset.re_tenths_um if preset else None) or recipe.nose_radius_tenths_um
    return AssemblyLabel(
        code=row.code,
        spec=recipe.tool_spec,
        machine=target.machine if target else "",
        station=target.station if target else "",
        tool_number=f"T{target.tool_number}" if target else "",
        path=str(target.path) if target else "",
        item=recipe.designation,
        grade=recipe.grade or "",
        edge=row.edge,
        edges=recipe.edges,
        offsets=_offset_texts(printing, preset, target),
        tip_orientation="" if recipe.tip_orientation is None else str(recipe.tip_orientation),
        nose_radius="" if radius is None else _radius_text(radius, target),
        holder=recipe.holder,
        measured_at=printing.local(preset.at if preset else None),
        measured_by=(preset.by if preset else None) or "",
        gauge=(preset.gauge if preset else None) or "",
        void_after=printing.local(preset.void_after if preset else None),
        gauge_override=(
            f"{preset.override_by}, {preset.override_reason}"
            if preset and preset.override_by
            else ""
        ),
    )


def _target(printing: Printing, station_id: int | None, tool_spec_id: int) -> StationRow | None:
    """The station that a label speaks of: asked for, the present one, or one that wants it."""
    tx = printing.tx
    if printing.station is not None:
        return station_row(tx, resolve_station(tx, printing.station).id)
    if station_id is not None:
        return station_row(tx, station_id)
    for machine in list_records(tx, MACHINES):
        for run in runs_that_count(tx, machine["id"], printing.present)[:2]:
            for name in stations_expecting(tx, machine["id"], run.part_id, tool_spec_id):
                mark = f"{machine['machine']}/{name}"
                return station_row(tx, resolve_station(tx, mark).id)
    return None


def _offset_texts(
    printing: Printing, preset: PresetRow | None, target: StationRow | None
) -> tuple[OffsetText, ...]:
    """What to key in at the target; without one, the measures themselves."""
    if preset is None:
        return ()
    if target is not None:
        try:
            learned = follow_station(printing.tx, target, printing.present).learned()
            found = offsets_of_preset(target, preset, learned)
            return tuple(_offset_text(one) for one in found)
        except Invalid:  # the station needs a measure that was not taken: no figure to key in
            return ()
    return tuple(
        OffsetText(name, mm_from_tenths_um(length), "mm")
        for name, length in preset.measures_tenths_um().items()
    )


def _radius_text(radius_tenths_um: int, target: StationRow | None) -> str:
    if target is None:
        return f"{nominal_mm_from_tenths_um(radius_tenths_um)} mm"
    unit, step = target.offset_unit, target.offset_increment_tenths_um
    return f"{plain_text(radius_tenths_um, unit, step)} {unit}"


def _offset_text(offset: AxisOffset) -> OffsetText:
    counted = offset.on_diameter if offset.axis == "X" else None
    return OffsetText(offset.axis, offset.text, offset.unit, counted)


def _rpm(value: float | None) -> int | None:
    return None if value is None else int(value)


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _plate(printing: Printing, record_id: int) -> StationPlate:
    row = get_record(printing.tx, STATIONS, record_id)
    return StationPlate(
        row["code"],
        row["machine"],
        row["station"],
        f"T{row['tool_number']}",
        _text(row["path"]),
        _text(row["spindle"]),
        _text(row["kind"]),
        _text(row["interface"]),
        _rpm(row["max_rpm"]),
    )


def _tag(printing: Printing, record_id: int) -> HolderTag:
    row = get_record(printing.tx, HOLDERS, record_id)
    kind = get_record(printing.tx, HOLDER_TYPES, row["holder_type"])
    return HolderTag(
        row["code"],
        row["holder"],
        row["holder_type"],
        kind["designation"],
        _text(kind["interface"]),
        _rpm(kind["max_rpm"]),
        _text(row["location"]),
    )


def _box(printing: Printing, record_id: int) -> LotLabel:
    row = get_record(printing.tx, LOTS, record_id)
    item = get_record(printing.tx, CUTTING_ITEMS, row["cutting_item"])
    return LotLabel(
        row["code"],
        row["lot"],
        row["cutting_item"],
        item["designation"],
        _text(item["grade"]),
        row["quantity"],
        item["edges"],
        _text(row["received_on"]),
        _text(row["location"]),
    )


def _gauge(printing: Printing, record_id: int) -> GaugeLabel:
    row = get_record(printing.tx, GAUGES, record_id)
    check = last_check(printing.tx, record_id, printing.present)
    due = check.at + timedelta(hours=row["check_hours"]) if check and check.valid else None
    uncertainty: Any = row["uncertainty_mm"]
    return GaugeLabel(
        row["code"],
        row["gauge"],
        _text(row["description"]),
        printing.local(check.at if check else None),
        printing.local(due),
        "" if uncertainty is None else f"{nominal_mm_from_tenths_um(uncertainty)} mm",
    )


def _badge(printing: Printing, record_id: int) -> BadgeLabel:
    row = get_record(printing.tx, PEOPLE, record_id)
    return BadgeLabel(row["code"], row["badge"], row["name"], row["role"])


_LABELS: dict[str, Callable[[Printing, int], Label]] = {
    "S": _plate,
    "H": _tag,
    "L": _box,
    "G": _gauge,
    "P": _badge,
}
