"""Rows of assemblies: built, what they are now, the codes on their labels, taken apart."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Select,
    bindparam,
    exists,
    func,
    insert,
    select,
    text,
    update,
)

from crib.clock import instant_from_us
from crib.store.engine import Tx
from crib.store.named_rows import named
from crib.store.tables import (
    assemblies,
    assembly_state,
    facts,
    label_codes,
    metadata,
    mounts,
    station_state,
    teardowns,
)

_T = metadata.tables
_stations, _machines = _T["stations"], _T["machines"]


def stands(fact_id: ColumnElement[int]) -> ColumnElement[bool]:
    """Whether no later fact reversed this one."""
    reversal = facts.alias()
    return ~exists(select(1).where(reversal.c.reverses_id == fact_id))


@dataclass(frozen=True, slots=True)
class AssemblyRow:
    """An assembly as it is now; ``station`` as MACHINE/STATION where it is mounted."""

    id: int
    code: str
    tool_spec_id: int
    holder_id: int
    lot_id: int
    edge: int
    grind: int
    built_at: datetime
    cutter_status: str
    preset_id: int | None
    ended_at: datetime | None
    mount_id: int | None
    station_id: int | None
    station: str | None


_STATE: Select[Any] = (
    select(
        assemblies.c.fact_id,
        label_codes.c.code,
        assemblies.c.tool_spec_id,
        assemblies.c.holder_id,
        assemblies.c.lot_id,
        assemblies.c.edge,
        assemblies.c.grind,
        facts.c.at.label("built_at"),
        assembly_state.c.cutter_status,
        assembly_state.c.preset_id,
        assembly_state.c.ended_at,
        station_state.c.mount_id,
        station_state.c.station_id,
        (_machines.c.machine + "/" + _stations.c.station).label("station"),
    )
    .join(facts, facts.c.id == assemblies.c.fact_id)
    .join(assembly_state, assembly_state.c.assembly_id == assemblies.c.fact_id)
    .join(
        label_codes,
        (label_codes.c.assembly_id == assemblies.c.fact_id)
        & label_codes.c.superseded_at.is_(None),
    )
    .outerjoin(station_state, station_state.c.assembly_id == assemblies.c.fact_id)
    .outerjoin(_stations, _stations.c.id == station_state.c.station_id)
    .outerjoin(_machines, _machines.c.id == _stations.c.machine_id)
)
_BY_ID = _STATE.where(assemblies.c.fact_id == bindparam("id"))
_OF_HOLDER = _STATE.where(
    assembly_state.c.holder_id == bindparam("holder_id"), assembly_state.c.ended_at.is_(None)
)
_IN_STATION = _STATE.where(station_state.c.station_id == bindparam("in_station_id"))
_LAST_OF_HOLDER = (
    select(func.max(assembly_state.c.ended_at))
    .join(assemblies, assemblies.c.fact_id == assembly_state.c.assembly_id)
    .where(assemblies.c.holder_id == bindparam("holder_id"))
)


def assembly_row(tx: Tx, assembly_id: int) -> AssemblyRow:
    """An assembly of an id as it is now."""
    return named(AssemblyRow, tx.execute(_BY_ID, {"id": assembly_id}).one())


def assembly_in_station(tx: Tx, station_id: int) -> AssemblyRow | None:
    """What sits in a station now."""
    row = tx.execute(_IN_STATION, {"in_station_id": station_id}).one_or_none()
    return None if row is None else named(AssemblyRow, row)


def assembly_of_holder(tx: Tx, holder_id: int) -> AssemblyRow | None:
    """The assembly that a holder is part of now."""
    row = tx.execute(_OF_HOLDER, {"holder_id": holder_id}).one_or_none()
    return None if row is None else named(AssemblyRow, row)


def holder_free_since(tx: Tx, holder_id: int) -> datetime | None:
    """When the holder's last assembly ended, None where it never was part of one."""
    found: datetime | None = tx.execute(_LAST_OF_HOLDER, {"holder_id": holder_id}).scalar()
    return found


_INSERT = insert(assemblies)
_INSERT_STATE = insert(assembly_state)
_INSERT_LABEL = insert(label_codes)
_SET = (
    update(assembly_state)
    .where(assembly_state.c.assembly_id == bindparam("id"))
    .values(
        cutter_status=bindparam("status"),
        preset_id=bindparam("new_preset_id"),
        ended_at=bindparam("new_ended_at"),
    )
)


def insert_assembly(
    tx: Tx,
    fact_id: int,
    *,
    tool_spec_id: int,
    holder_id: int,
    lot_id: int,
    edge: int,
    grind: int,
    status: str,
    code: str,
) -> None:
    """Write a built assembly, its state and the code of its first label."""
    tx.execute(
        _INSERT,
        {
            "fact_id": fact_id,
            "tool_spec_id": tool_spec_id,
            "holder_id": holder_id,
            "lot_id": lot_id,
            "edge": edge,
            "grind": grind,
        },
    )
    tx.execute(
        _INSERT_STATE,
        {"assembly_id": fact_id, "holder_id": holder_id, "cutter_status": status},
    )
    tx.execute(_INSERT_LABEL, {"code": code, "assembly_id": fact_id})


def set_state(
    tx: Tx,
    assembly_id: int,
    *,
    status: str,
    preset_id: int | None,
    ended_at: datetime | None = None,
) -> None:
    """Say what an assembly is now."""
    tx.execute(
        _SET,
        {
            "id": assembly_id,
            "status": status,
            "new_preset_id": preset_id,
            "new_ended_at": ended_at,
        },
    )


@dataclass(frozen=True, slots=True)
class LabelRow:
    """A code that a label of an assembly carries or carried."""

    code: str
    assembly_id: int
    preset_id: int | None
    superseded_at: datetime | None


_LABEL_COLUMNS = (
    label_codes.c.code,
    label_codes.c.assembly_id,
    label_codes.c.preset_id,
    label_codes.c.superseded_at,
)
_CURRENT_LABEL = select(*_LABEL_COLUMNS).where(
    label_codes.c.assembly_id == bindparam("of_assembly_id"),
    label_codes.c.superseded_at.is_(None),
)
_ALL_LABELS = (
    select(*_LABEL_COLUMNS)
    .where(label_codes.c.assembly_id == bindparam("of_assembly_id"))
    .order_by(label_codes.c.superseded_at.is_(None), label_codes.c.superseded_at)
)
_SUPERSEDE = (
    update(label_codes)
    .where(label_codes.c.code == bindparam("old_code"))
    .values(superseded_at=bindparam("superseded"))
)
_LABEL_PRESET = (
    update(label_codes)
    .where(label_codes.c.code == bindparam("old_code"))
    .values(preset_id=bindparam("of_preset_id"))
)


def current_label(tx: Tx, assembly_id: int) -> LabelRow:
    """The label that holds for an assembly now."""
    return named(LabelRow, tx.execute(_CURRENT_LABEL, {"of_assembly_id": assembly_id}).one())


def labels_of(tx: Tx, assembly_id: int) -> tuple[LabelRow, ...]:
    """Every label of an assembly, the current one last."""
    rows = tx.execute(_ALL_LABELS, {"of_assembly_id": assembly_id}).all()
    return tuple(named(LabelRow, row) for row in rows)


def supersede_label(tx: Tx, label: LabelRow, at: datetime, new_code: str) -> None:
    """Void a label; ``new_code`` is the assembly's from now on."""
    tx.execute(_SUPERSEDE, {"old_code": label.code, "superseded": at})
    tx.execute(_INSERT_LABEL, {"code": new_code, "assembly_id": label.assembly_id})


def label_shows(tx: Tx, code: str, preset_id: int | None) -> None:
    """Say which preset a label stands for."""
    tx.execute(_LABEL_PRESET, {"old_code": code, "of_preset_id": preset_id})


_LAST_FACT = text(
    """
    SELECT max(at) FROM facts
    WHERE id IN (
        SELECT :id
        UNION ALL SELECT fact_id FROM presets WHERE assembly_id = :id
        UNION ALL SELECT fact_id FROM mounts WHERE assembly_id = :id
        UNION ALL SELECT removals.fact_id FROM removals
            JOIN mounts ON mounts.fact_id = removals.mount_id
            WHERE mounts.assembly_id = :id
    ) AND NOT EXISTS (SELECT 1 FROM facts AS later WHERE later.reverses_id = facts.id)
    """
)
_STAYS = (
    select(func.count())
    .select_from(mounts)
    .where(mounts.c.assembly_id == bindparam("id"), stands(mounts.c.fact_id))
)
_TEARDOWN = insert(teardowns)


def last_fact_at(tx: Tx, assembly_id: int) -> datetime:
    """Instant of the latest standing build, preset, mount or removal of an assembly."""
    return instant_from_us(tx.execute(_LAST_FACT, {"id": assembly_id}).scalar_one())


def stays_of(tx: Tx, assembly_id: int) -> int:
    """How often an assembly was mounted, reversed mounts left out."""
    return int(tx.execute(_STAYS, {"id": assembly_id}).scalar_one())


def insert_teardown(tx: Tx, fact_id: int, assembly_id: int, reason: str | None) -> None:
    """Write that an assembly was taken apart."""
    tx.execute(_TEARDOWN, {"fact_id": fact_id, "assembly_id": assembly_id, "reason": reason})


_TORN_DOWN = select(teardowns.c.assembly_id).where(teardowns.c.fact_id == bindparam("id"))


def torn_down_assembly(tx: Tx, teardown_id: int) -> int:
    """The assembly that a teardown was about, taken back or not."""
    return int(tx.execute(_TORN_DOWN, {"id": teardown_id}).scalar_one())


_LATER_FACT = text(
    """
    SELECT min(id) FROM facts
    WHERE id > :after AND id IN (
        SELECT fact_id FROM presets WHERE assembly_id = :id
        UNION ALL SELECT fact_id FROM mounts WHERE assembly_id = :id
        UNION ALL SELECT fact_id FROM teardowns WHERE assembly_id = :id
    ) AND NOT EXISTS (SELECT 1 FROM facts AS later WHERE later.reverses_id = facts.id)
    """
)


def later_fact_of(tx: Tx, assembly_id: int, fact_id: int) -> int | None:
    """First standing preset, mount or teardown of an assembly recorded after a fact."""
    found = tx.execute(_LATER_FACT, {"id": assembly_id, "after": fact_id}).scalar_one()
    return None if found is None else int(found)
