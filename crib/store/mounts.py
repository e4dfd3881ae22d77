"""Rows of mounts, removals and corrections: who sat where, and what was keyed in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, bindparam, delete, insert, select

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import corrections, facts, metadata, mounts, removals, station_state
from crib.store.types import Instant


@dataclass(frozen=True, slots=True)
class MountRow:
    """A stay in a station, still going on where ``removed_at`` is None.

    ``offsets`` as keyed in at the control, X doubled where X is on diameter [0.1 µm].
    """

    id: int
    station_id: int
    assembly_id: int
    preset_id: int
    at: datetime
    part_count: int | None
    offset_x_tenths_um: int | None
    offset_y_tenths_um: int | None
    offset_z_tenths_um: int | None
    removal_id: int | None
    removed_at: datetime | None
    reason: str | None

    def offset_tenths_um(self, axis: str) -> int | None:
        """The offset of X, Y or Z as it was keyed in."""
        offsets = (self.offset_x_tenths_um, self.offset_y_tenths_um, self.offset_z_tenths_um)
        return offsets["XYZ".index(axis)]


_out = facts.alias("out")
#: What was keyed in at a mount, and its standing removal, for what ``with_removal`` joins.
STAY_COLUMNS: tuple[ColumnElement[Any], ...] = (
    mounts.c.part_count,
    mounts.c.offset_x_tenths_um,
    mounts.c.offset_y_tenths_um,
    mounts.c.offset_z_tenths_um,
    removals.c.fact_id.label("removal_id"),
    _out.c.at.label("removed_at"),
    removals.c.reason,
)


def with_removal(statement: Select[Any]) -> Select[Any]:
    """The statement about mounts, each joined to its standing removal."""
    return statement.outerjoin(
        removals, (removals.c.mount_id == mounts.c.fact_id) & stands(removals.c.fact_id)
    ).outerjoin(_out, _out.c.id == removals.c.fact_id)


#: Standing mounts, each with its standing removal.
STAYS: Select[Any] = with_removal(
    select(
        mounts.c.fact_id,
        mounts.c.station_id,
        mounts.c.assembly_id,
        mounts.c.preset_id,
        facts.c.at,
        *STAY_COLUMNS,
    ).join(facts, facts.c.id == mounts.c.fact_id)
).where(stands(mounts.c.fact_id))
_BY_ID = STAYS.where(mounts.c.fact_id == bindparam("id"))
# stays in a station are recorded in the order in which they happened (a mount has to fit
# behind the last event there), so that the index on the station answers alone
_LAST_IN_STATION = (
    STAYS.where(mounts.c.station_id == bindparam("in_station_id"))
    .order_by(mounts.c.fact_id.desc())
    .limit(1)
)
_BEFORE = (
    STAYS.where(
        mounts.c.station_id == bindparam("in_station_id"),
        mounts.c.fact_id < bindparam("before_id"),
    )
    .order_by(mounts.c.fact_id.desc())
    .limit(1)
)
_COVERING = (
    STAYS.where(
        mounts.c.station_id == bindparam("in_station_id"),
        facts.c.at <= bindparam("when", type_=Instant()),
        (_out.c.at.is_(None)) | (_out.c.at >= bindparam("when", type_=Instant())),
    )
    .order_by(mounts.c.fact_id.desc())
    .limit(1)
)
_OF_ASSEMBLY = STAYS.where(mounts.c.assembly_id == bindparam("of_assembly_id")).order_by(
    facts.c.at, mounts.c.fact_id
)

_stations = metadata.tables["stations"]
_AT_MACHINE = (
    select(mounts.c.fact_id)
    .join(facts, facts.c.id == mounts.c.fact_id)
    .join(_stations, _stations.c.id == mounts.c.station_id)
    .where(
        _stations.c.machine_id == bindparam("of_machine_id"),
        facts.c.at >= bindparam("when", type_=Instant()),
        stands(mounts.c.fact_id),
    )
    .limit(1)
)


def mount_row(tx: Tx, mount_id: int) -> MountRow | None:
    """A mount that was not reversed."""
    return _one(tx.execute(_BY_ID, {"id": mount_id}).one_or_none())


def last_in_station(tx: Tx, station_id: int) -> MountRow | None:
    """The latest stay in a station, over or not."""
    return _one(tx.execute(_LAST_IN_STATION, {"in_station_id": station_id}).one_or_none())


def stay_before(tx: Tx, mount: MountRow) -> MountRow | None:
    """The stay in the same station before a stay."""
    ids = {"in_station_id": mount.station_id, "before_id": mount.id}
    return _one(tx.execute(_BEFORE, ids).one_or_none())


def mount_covering(tx: Tx, station_id: int, at: datetime) -> MountRow | None:
    """The stay in a station during which an instant lies."""
    row = tx.execute(_COVERING, {"in_station_id": station_id, "when": at}).one_or_none()
    return _one(row)


def mounted_at_machine(tx: Tx, machine_id: int, since: datetime) -> bool:
    """Whether any tool was mounted in a machine since an instant."""
    return (
        tx.execute(_AT_MACHINE, {"of_machine_id": machine_id, "when": since}).first()
        is not None
    )


def stays_of_assembly(tx: Tx, assembly_id: int) -> tuple[MountRow, ...]:
    """Every stay of an assembly, in order."""
    rows = tx.execute(_OF_ASSEMBLY, {"of_assembly_id": assembly_id}).all()
    return tuple(named(MountRow, row) for row in rows)


def _one(row: Any) -> MountRow | None:
    return None if row is None else named(MountRow, row)


_INSERT = insert(mounts)
_SIT = insert(station_state)
_STAND_UP = delete(station_state).where(station_state.c.mount_id == bindparam("of_mount_id"))
_INSERT_REMOVAL = insert(removals)
_INSERT_CORRECTION = insert(corrections)


def insert_mount(
    tx: Tx,
    fact_id: int,
    *,
    station_id: int,
    assembly_id: int,
    preset_id: int,
    part_count: int | None,
    offsets_tenths_um: dict[str, int],
) -> None:
    """Write a mount; the database refuses a second tool there, or the tool twice."""
    tx.execute(
        _INSERT,
        {
            "fact_id": fact_id,
            "station_id": station_id,
            "assembly_id": assembly_id,
            "preset_id": preset_id,
            "part_count": part_count,
            "offset_x_tenths_um": offsets_tenths_um.get("X"),
            "offset_y_tenths_um": offsets_tenths_um.get("Y"),
            "offset_z_tenths_um": offsets_tenths_um.get("Z"),
        },
    )
    sit_down(tx, station_id, assembly_id, fact_id)


def sit_down(tx: Tx, station_id: int, assembly_id: int, mount_id: int) -> None:
    """Say that an assembly sits in a station."""
    tx.execute(
        _SIT, {"station_id": station_id, "assembly_id": assembly_id, "mount_id": mount_id}
    )


def stand_up(tx: Tx, mount_id: int) -> None:
    """Say that the stay of a mount is over."""
    tx.execute(_STAND_UP, {"of_mount_id": mount_id})


def insert_removal(
    tx: Tx,
    fact_id: int,
    *,
    mount_id: int,
    reason: str,
    part_count: int | None,
    flank_wear_tenths_um: int | None,
) -> None:
    """Write a removal and free the station."""
    tx.execute(
        _INSERT_REMOVAL,
        {
            "fact_id": fact_id,
            "mount_id": mount_id,
            "reason": reason,
            "part_count": part_count,
            "flank_wear_tenths_um": flank_wear_tenths_um,
        },
    )
    stand_up(tx, mount_id)


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """One offset step, in the control's figures [0.1 µm]."""

    id: int
    mount_id: int
    at: datetime
    axis: str
    change_tenths_um: int
    correction_kind: str


_CORRECTIONS: Select[Any] = (
    select(
        corrections.c.fact_id,
        corrections.c.mount_id,
        facts.c.at,
        corrections.c.axis,
        corrections.c.change_tenths_um,
        corrections.c.correction_kind,
    )
    .join(facts, facts.c.id == corrections.c.fact_id)
    .where(corrections.c.mount_id == bindparam("of_mount_id"), stands(facts.c.id))
    .order_by(facts.c.at, facts.c.id)
)


def corrections_of(tx: Tx, mount_id: int) -> tuple[CorrectionRow, ...]:
    """Every standing correction of a stay, in order."""
    rows = tx.execute(_CORRECTIONS, {"of_mount_id": mount_id}).all()
    return tuple(named(CorrectionRow, row) for row in rows)


_CORRECTION = select(corrections.c.mount_id).where(corrections.c.fact_id == bindparam("id"))


def correction_row(tx: Tx, correction_id: int) -> CorrectionRow | None:
    """A correction that stands, of a stay that stands."""
    mount_id = tx.execute(_CORRECTION, {"id": correction_id}).scalar()
    steps = corrections_of(tx, mount_id) if mount_id is not None else ()
    return next((step for step in steps if step.id == correction_id), None)


def insert_correction(
    tx: Tx, fact_id: int, *, mount_id: int, axis: str, change_tenths_um: int, kind: str
) -> None:
    """Write an offset step."""
    tx.execute(
        _INSERT_CORRECTION,
        {
            "fact_id": fact_id,
            "mount_id": mount_id,
            "axis": axis,
            "change_tenths_um": change_tenths_um,
            "correction_kind": kind,
        },
    )


_OF_REMOVAL = STAYS.where(removals.c.fact_id == bindparam("id"))


def stay_of_removal(tx: Tx, removal_id: int) -> MountRow | None:
    """The stay that a standing removal ended."""
    return _one(tx.execute(_OF_REMOVAL, {"id": removal_id}).one_or_none())


_REMOVED = select(removals.c.mount_id).where(removals.c.fact_id == bindparam("id"))


def removed_mount_id(tx: Tx, removal_id: int) -> int:
    """The mount that a removal ended."""
    return int(tx.execute(_REMOVED, {"id": removal_id}).scalar_one())
