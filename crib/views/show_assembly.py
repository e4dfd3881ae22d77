"""One tool with everything on record about it: recipe, labels, preset, stays, wear."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.named import named_assembly
from crib.acts.recipe import Recipe, recipe_of
from crib.acts.station_offsets import offsets_now
from crib.acts.station_wear import NOTHING, StayWear, wear_of_stays
from crib.metrology.offset import AxisOffset
from crib.store.assemblies import LabelRow, labels_of
from crib.store.engine import Tx
from crib.store.mounts import MountRow, corrections_of, stays_of_assembly
from crib.store.presets import PresetRow, latest_preset
from crib.store.stations import station_row


@dataclass(frozen=True, slots=True)
class StayShown:
    """One stay in a station and what it took from the edge."""

    mount_id: int
    station: str
    mounted_at: datetime
    removed_at: datetime | None
    reason: str | None
    offsets: tuple[AxisOffset, ...]
    wear: StayWear


@dataclass(frozen=True, slots=True)
class AssemblyShown:
    """A tool and its history.

    Attributes:
        id: The fact that built it.
        code: Code of its current label.
        superseded_code: The code that it was asked for by, where that label is void.
        labels: Every label that it had, the current one last.
        cutter_status: What it is now.
        built_at: When it was built.
        ended_at: When it was over, if it is.
        station: MACHINE/STATION where it is mounted.
        recipe: What it is made of and should measure.
        preset: Its latest preset, accepted or not.
        stays: Its stays in stations, in order.
        wear: What all of them took together.
    """

    id: int
    code: str
    superseded_code: str | None
    labels: tuple[LabelRow, ...]
    cutter_status: str
    built_at: datetime
    ended_at: datetime | None
    station: str | None
    recipe: Recipe
    preset: PresetRow | None
    stays: tuple[StayShown, ...]
    wear: StayWear


def show_assembly(tx: Tx, present: datetime, text: str) -> AssemblyShown:
    """Everything about the tool that a label, or its holder, names.

    Raises:
        BadCode: A code that is mistyped.
        NotKnown: Nothing here carries it.
    """
    named = named_assembly(tx, text, field="code")
    row = named.row
    stays = stays_of_assembly(tx, row.id)
    worn = wear_of_stays(tx, row, stays, present)
    return AssemblyShown(
        id=row.id,
        code=row.code,
        superseded_code=named.superseded_code,
        labels=labels_of(tx, row.id),
        cutter_status=row.cutter_status,
        built_at=row.built_at,
        ended_at=row.ended_at,
        station=row.station,
        recipe=recipe_of(tx, row),
        preset=latest_preset(tx, row.id),
        stays=tuple(_stay(tx, stay, wear) for stay, wear in zip(stays, worn, strict=True)),
        wear=sum(worn, NOTHING),
    )


def _stay(tx: Tx, stay: MountRow, wear: StayWear) -> StayShown:
    station = station_row(tx, stay.station_id)
    return StayShown(
        stay.id,
        station.mark,
        stay.at,
        stay.removed_at,
        stay.reason,
        offsets_now(station, stay, corrections_of(tx, stay.id)),
        wear,
    )
