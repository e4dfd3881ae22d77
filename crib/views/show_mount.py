"""A mount on record: what was keyed in, and what the control holds now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from crib.acts.mount_ahead import ToKeyIn, what_to_key_in
from crib.acts.station_offsets import offsets_now
from crib.errors import Invalid, NotKnown
from crib.left_out import or_refuse
from crib.metrology.offset import AxisOffset
from crib.sentence import sentence
from crib.store.assemblies import AssemblyRow, assembly_row
from crib.store.engine import Tx
from crib.store.mounts import (
    CorrectionRow,
    MountRow,
    corrections_of,
    last_in_station,
    mount_row,
    stay_before,
)
from crib.store.presets import latest_preset
from crib.store.stations import StationRow, station_row
from crib.store.stockrows import holder_row, spec_row


@dataclass(frozen=True, slots=True)
class MountShown:
    """A stay in a station.

    Attributes:
        fact_id: The mount.
        station: Where.
        assembly: The tool, as it is now.
        at: Since when.
        removed_at: Until when, if it is over.
        keyed_in: The offsets as they were keyed in at the mount.
        offsets: What the control holds by now, with every step since.
        steps: Those steps, in order.
        key_in: What was to be keyed in; None once that is not known any more (the tool was
            measured again, or the records of its station were changed since).
    """

    fact_id: int
    station: StationRow
    assembly: AssemblyRow
    at: datetime
    removed_at: datetime | None
    keyed_in: tuple[AxisOffset, ...]
    offsets: tuple[AxisOffset, ...]
    steps: tuple[CorrectionRow, ...]
    key_in: ToKeyIn | None


def show_mount(tx: Tx, mount_id: int) -> MountShown:
    """A mount that stands.

    Raises:
        NotKnown: There is none of that number, or it was reversed.
        Conflict: Its offsets cannot be worked out.
    """
    mount = mount_row(tx, mount_id)
    if mount is None:
        raise NotKnown(
            sentence("There is no mount {mount_id}, or it was taken back.", mount_id=mount_id),
            facts={"fact": mount_id},
        )
    return _shown(tx, mount)


def mount_in_station(tx: Tx, station_id: int) -> MountShown | None:
    """The stay that goes on in a station; None where it is empty.

    Raises:
        Conflict: Its offsets cannot be worked out.
    """
    mount = last_in_station(tx, station_id)
    return None if mount is None or mount.removed_at is not None else _shown(tx, mount)


def _shown(tx: Tx, mount: MountRow) -> MountShown:
    station = station_row(tx, mount.station_id)
    return or_refuse(
        lambda: _worked_out(tx, mount, station),
        sentence(
            "The offsets in station {mark} could not be worked out. Read them at "
            "the control before you change anything, and check the records of the "
            "station. The service log has the details.",
            mark=station.mark,
        ),
    )


def _worked_out(tx: Tx, mount: MountRow, station: StationRow) -> MountShown:
    assembly = assembly_row(tx, mount.assembly_id)
    steps = corrections_of(tx, mount.id)
    keyed = offsets_now(station, mount, ())
    return MountShown(
        mount.id,
        station,
        assembly,
        mount.at,
        mount.removed_at,
        keyed,
        offsets_now(station, mount, steps),
        steps,
        _key_in(tx, mount, station, assembly, keyed),
    )


def _key_in(
    tx: Tx,
    mount: MountRow,
    station: StationRow,
    assembly: AssemblyRow,
    keyed: tuple[AxisOffset, ...],
) -> ToKeyIn | None:
    preset = latest_preset(tx, assembly.id)
    if preset is None or preset.id != mount.preset_id:
        return None
    spec, holder = spec_row(tx, assembly.tool_spec_id), holder_row(tx, assembly.holder_id)
    before = stay_before(tx, mount)
    try:
        found = what_to_key_in(tx, mount.at, station, assembly, spec, holder, preset, before)
    except Invalid:
        return None  # the station's axes were changed since, and want another measure
    # a figure that a person reads here is the one that was shown at the mount, or none
    same = [replace(one, expanded_uncertainty_mm=None) for one in found.offsets]
    return found if same == list(keyed) else None
