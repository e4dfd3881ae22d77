"""Collects what is on record for a mount, and checks the mount against it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from typing import NamedTuple

from crib.acts.named import NamedAssembly, named_assembly
from crib.acts.who_and_when import WhoAndWhen, place_after
from crib.clock import print_instant
from crib.errors import BadCode, NotKnown
from crib.floor.mount import (
    Expected,
    Mismatch,
    Offered,
    Place,
    Scanned,
    lowest_rpm,
    mismatches,
    not_compared,
)
from crib.records.catalogue import is_out_of_service
from crib.sentence import sentence
from crib.store.assemblies import AssemblyRow, assembly_in_station, last_fact_at
from crib.store.engine import Tx
from crib.store.mounts import MountRow
from crib.store.presets import PresetRow
from crib.store.resolve import resolve_station
from crib.store.stations import StationRow
from crib.store.stockrows import HolderRow, SpecRow
from crib.units import TenthsUm


class MountCheck(NamedTuple):
    """What a mount was checked for.

    Attributes:
        problems: Every mismatch.
        not_compared: What was not checked, where no job is on or planned.
    """

    problems: tuple[Mismatch, ...]
    not_compared: str | None


def check_mount(
    tx: Tx,
    scans: tuple[str | None, str | None],
    at: datetime,
    station: StationRow,
    named: NamedAssembly,
    spec: SpecRow,
    holder: HolderRow,
    preset: PresetRow | None,
    expected: Expected | None,
) -> MountCheck:
    """Every mismatch between a tool, a station, what was scanned and what a program expects.

    Args:
        tx: An open transaction.
        scans: What the scanner read at the station and on the tool, None where nothing.
        at: Instant of the mount.
        station: The station.
        named: The tool.
        spec: What it was built to.
        holder: What it was built on.
        preset: Its latest preset.
        expected: What the program expects there; None where no job is on or planned.
    """
    assembly = named.row
    scanned, superseded = _scanned(tx, scans, named)
    occupant = assembly_in_station(tx, station.id)
    offered = Offered(
        code=assembly.code,
        tool_spec=spec.tool_spec,
        holder=holder.mark,
        holder_interface=holder.interface,
        holder_kind=holder.kind,
        max_rpm=lowest_rpm(spec.max_rpm, holder.max_rpm),
        holder_out_of_service=_out_of_service(holder),
        tip_orientation=spec.tip_orientation,
        nose_radius_tenths_um=tenths_or_none(preset.re_tenths_um if preset else None),
        nominal_nose_radius_tenths_um=tenths_or_none(spec.nose_radius_tenths_um),
        cutter_status=assembly.cutter_status,
        preset_accepted=preset.accepted if preset else None,
        preset_at=preset.at if preset else None,
        void_after=preset.void_after if preset and preset.accepted else None,
        label_current=None if superseded is None else False,
        mounted_at=assembly.station,
    )
    place = Place(
        station.machine,
        station.station,
        station.code,
        station.interface,
        station.kind,
        station.max_rpm,
        occupant.code if occupant else None,
        station.offset_unit,
    )
    return MountCheck(
        tuple(mismatches(expected, offered, place, scanned, at)),
        None if expected else not_compared(offered, place),
    )


def _scanned(
    tx: Tx, scans: tuple[str | None, str | None], named: NamedAssembly
) -> tuple[Scanned, str | None]:
    """What the scanner read, as codes of now, and the earlier label's code if it was one."""
    superseded = named.superseded_code
    station, assembly = scans
    if station is not None:
        # what names nothing differs all the same: the mismatch shows it
        station = station.strip()[:200]
        with suppress(BadCode, NotKnown):
            station = resolve_station(tx, station).code
    if assembly is not None:
        assembly = assembly.strip()[:200]
        with suppress(BadCode, NotKnown):
            read = named_assembly(tx, assembly)
            assembly = read.row.code
            if read.row.id == named.row.id:
                superseded = superseded or read.superseded_code
    return Scanned(station, assembly), superseded


def too_early(
    tx: Tx,
    told: WhoAndWhen,
    station: StationRow,
    last_stay: MountRow | None,
    assembly: AssemblyRow,
) -> tuple[datetime, list[Mismatch]]:
    """When a mount happened; a late one must not lie before facts already on record."""
    emptied = None if last_stay is None else last_stay.removed_at or last_stay.at
    known = (
        (sentence("station {mark}", mark=station.mark), emptied),
        (f"{assembly.code}", last_fact_at(tx, assembly.id)),
    )
    for _, last in known:
        told = place_after(told, last)
    found = [
        Mismatch(
            "at",
            "too-early",
            sentence(
                "{at} is before the last fact about {what} ({last}): check the time.",
                at=print_instant(told.at),
                what=what,
                last=print_instant(last),
            ),
        )
        for what, last in known
        if last is not None and told.at < last
    ]
    return told.at, found


def _out_of_service(holder: HolderRow) -> str | None:
    if holder.retired:
        return "retired"
    return holder.condition if is_out_of_service(holder.condition) else None


def tenths_or_none(length_tenths_um: int | None) -> TenthsUm | None:
    """An exact length, or None."""
    return None if length_tenths_um is None else TenthsUm(length_tenths_um)
