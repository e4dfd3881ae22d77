"""Rows of stations: what they are, what runs on their machine, what is expected in them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, bindparam, func, select

from crib.store.engine import Tx
from crib.store.named_rows import named, named_rows
from crib.store.tables import metadata

_T = metadata.tables
_stations, _machines, _runs = _T["stations"], _T["machines"], _T["runs"]
_operations, _specs, _parts = _T["operations"], _T["tool_specs"], _T["parts"]


@dataclass(frozen=True, slots=True)
class StationRow:
    """A station with what its machine says; lengths in 0.1 µm."""

    id: int
    code: str
    machine_id: int
    machine: str
    station: str
    tool_number: int
    path: int
    kind: str | None
    interface: str | None
    max_rpm: float | None
    offset_register: int | None
    axis_x: str | None
    axis_y: str | None
    axis_z: str | None
    datum_x_tenths_um: int
    datum_y_tenths_um: int
    datum_z_tenths_um: int
    retired: bool
    spindle_max_rpm: float | None
    x_on_diameter: bool
    offset_unit: str
    offset_increment_tenths_um: int
    block_template: str | None
    slide: str | None
    spindle: str | None

    @property
    def mark(self) -> str:
        """MACHINE/STATION, as the shop says it."""
        return f"{self.machine}/{self.station}"


_STATION: Select[Any] = select(
    _stations.c.id,
    _stations.c.code,
    _stations.c.machine_id,
    _machines.c.machine,
    _stations.c.station,
    _stations.c.tool_number,
    func.coalesce(_stations.c.path, 1).label("path"),
    _stations.c.kind,
    _stations.c.interface,
    _stations.c.max_rpm,
    _stations.c.offset_register,
    _stations.c.axis_x,
    _stations.c.axis_y,
    _stations.c.axis_z,
    func.coalesce(_stations.c.datum_x_tenths_um, 0).label("datum_x_tenths_um"),
    func.coalesce(_stations.c.datum_y_tenths_um, 0).label("datum_y_tenths_um"),
    func.coalesce(_stations.c.datum_z_tenths_um, 0).label("datum_z_tenths_um"),
    (_stations.c.retired_at.is_not(None) | _machines.c.retired_at.is_not(None)).label(
        "retired"
    ),
    _machines.c.spindle_max_rpm,
    func.coalesce(_machines.c.x_on_diameter, True).label("x_on_diameter"),
    func.coalesce(_machines.c.offset_unit, "mm").label("offset_unit"),
    func.coalesce(_machines.c.offset_increment_tenths_um, 1).label(
        "offset_increment_tenths_um"
    ),
    _machines.c.block_template,
    _stations.c.slide,
    _stations.c.spindle,
).join(_machines, _machines.c.id == _stations.c.machine_id)
_BY_ID = _STATION.where(_stations.c.id == bindparam("id"))
_OF_MACHINE = _STATION.where(
    _stations.c.machine_id == bindparam("of_machine_id"), _stations.c.retired_at.is_(None)
).order_by(func.coalesce(_stations.c.path, 1), _stations.c.tool_number, _stations.c.station)


def station_row(tx: Tx, station_id: int) -> StationRow:
    """The station of an id."""
    return named(StationRow, tx.execute(_BY_ID, {"id": station_id}).one())


def stations_of(tx: Tx, machine_id: int) -> tuple[StationRow, ...]:
    """Every station of a machine that is not retired, by path and tool number."""
    rows = tx.execute(_OF_MACHINE, {"of_machine_id": machine_id}).all()
    return named_rows(StationRow, rows)


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run of a part on a machine; ``end_at`` is None while it runs or nobody said."""

    id: int
    machine_id: int
    part_id: int
    part: str
    cycle_s: float
    start_at: datetime | None
    end_at: datetime | None
    state: str


_RUNS: Select[Any] = (
    select(
        _runs.c.id,
        _runs.c.machine_id,
        _runs.c.part_id,
        _parts.c.part,
        _parts.c.cycle_s,
        _runs.c.start_at,
        _runs.c.end_at,
        _runs.c.state,
    )
    .join(_parts, _parts.c.id == _runs.c.part_id)
    .where(_runs.c.machine_id == bindparam("of_machine_id"), _runs.c.retired_at.is_(None))
    .order_by(_runs.c.start_at.is_not(None), _runs.c.start_at, _runs.c.id)
)


def runs_of(tx: Tx, machine_id: int) -> tuple[RunRow, ...]:
    """Every run of a machine, by start; those without a start first."""
    rows = tx.execute(_RUNS, {"of_machine_id": machine_id}).all()
    return named_rows(RunRow, rows)


_EXPECTED: Select[Any] = (
    select(_operations.c.tool_spec_id, _specs.c.tool_spec)
    .join(_specs, _specs.c.id == _operations.c.tool_spec_id)
    .where(
        _operations.c.part_id == bindparam("of_part_id"),
        _operations.c.tool_number == bindparam("number"),
        func.coalesce(_operations.c.path, 1) == bindparam("of_path"),
    )
    .order_by(_operations.c.sequence)
)


@dataclass(frozen=True, slots=True)
class ExpectedRow:
    """A tool spec that a part's program expects."""

    tool_spec_id: int
    tool_spec: str


def expected_specs(
    tx: Tx, part_id: int, tool_number: int, path: int
) -> tuple[ExpectedRow, ...]:
    """Specs that a part's program expects under a tool number of a path, each once."""
    rows = tx.execute(
        _EXPECTED, {"of_part_id": part_id, "number": tool_number, "of_path": path}
    ).all()
    return tuple(dict.fromkeys(named_rows(ExpectedRow, rows)))


_EXPECTING: Select[Any] = (
    select(_stations.c.station)
    .join(
        _operations,
        (_operations.c.tool_number == _stations.c.tool_number)
        & (func.coalesce(_operations.c.path, 1) == func.coalesce(_stations.c.path, 1)),
    )
    .where(
        _stations.c.machine_id == bindparam("of_machine_id"),
        _stations.c.retired_at.is_(None),
        _operations.c.part_id == bindparam("of_part_id"),
        _operations.c.tool_spec_id == bindparam("of_spec_id"),
    )
    .distinct()
    .order_by(_stations.c.station)
)


def stations_expecting(
    tx: Tx, machine_id: int, part_id: int, tool_spec_id: int
) -> tuple[str, ...]:
    """Stations of a machine in which a part's program expects a spec."""
    return tuple(
        tx.execute(
            _EXPECTING,
            {
                "of_machine_id": machine_id,
                "of_part_id": part_id,
                "of_spec_id": tool_spec_id,
            },
        ).scalars()
    )
