"""Rows of stays with what their first-offs showed, in one station or all over the shop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Integer,
    Select,
    bindparam,
    case,
    func,
    select,
)

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.named_rows import named_rows
from crib.store.tables import assemblies, corrections, facts, metadata, mounts, presets
from crib.store.types import Instant

_T = metadata.tables
_holders, _gauges = _T["holders"], _T["gauges"]


@dataclass(frozen=True, slots=True)
class FirstOffRow:
    """A stay, the preset that it went by, and the sum of its first-off steps per axis.

    ``offset_*`` and ``step_*`` in the control's figures, X doubled where it is on diameter
    [0.1 µm]; a step is None where the axis has no first-off.
    """

    mount_id: int
    station_id: int
    at: datetime
    holder_id: int
    holder: str
    gauge_id: int | None
    gauge: str | None
    measured_at: datetime
    lf_tenths_um: int | None
    wf_tenths_um: int | None
    hf_tenths_um: int | None
    expanded_uncertainty_mm: Mapping[str, float]
    offset_x_tenths_um: int | None
    offset_y_tenths_um: int | None
    offset_z_tenths_um: int | None
    step_x_tenths_um: int | None
    step_y_tenths_um: int | None
    step_z_tenths_um: int | None

    def offset_tenths_um(self, axis: str) -> int | None:
        """The offset of X, Y or Z as it was keyed in at the mount."""
        offsets = (self.offset_x_tenths_um, self.offset_y_tenths_um, self.offset_z_tenths_um)
        return offsets["XYZ".index(axis)]

    def step_tenths_um(self, axis: str) -> int | None:
        """Sum of the first-off steps of X, Y or Z."""
        steps = (self.step_x_tenths_um, self.step_y_tenths_um, self.step_z_tenths_um)
        return steps["XYZ".index(axis)]

    def measure_tenths_um(self, measure: str) -> int | None:
        """LF, WF or HF as it was measured."""
        lengths = (self.lf_tenths_um, self.wf_tenths_um, self.hf_tenths_um)
        return lengths[("LF", "WF", "HF").index(measure)]


_mounted, _measured = facts.alias("mounted"), facts.alias("measured")
_UP_TO = bindparam("up_to", type_=Instant())


def _step(axis: str) -> ColumnElement[Any]:
    """Sum of the standing first-off steps of an axis; None where there are none."""
    return func.sum(case((corrections.c.axis == axis, corrections.c.change_tenths_um)))


_STEPS = (
    select(
        corrections.c.mount_id,
        _step("X").label("x"),
        _step("Y").label("y"),
        _step("Z").label("z"),
    )
    .join(facts, facts.c.id == corrections.c.fact_id)
    .where(
        corrections.c.correction_kind == "first_off",
        facts.c.at <= _UP_TO,
        stands(corrections.c.fact_id),
    )
    .group_by(corrections.c.mount_id)
)


def _rows(steps: Any, *, with_steps_only: bool) -> Select[Any]:
    joined = mounts.join(_mounted, _mounted.c.id == mounts.c.fact_id)
    joined = (
        joined.join(steps, steps.c.mount_id == mounts.c.fact_id)
        if with_steps_only
        else joined.outerjoin(steps, steps.c.mount_id == mounts.c.fact_id)
    )
    return (
        select(
            mounts.c.fact_id.label("mount_id"),
            mounts.c.station_id,
            _mounted.c.at,
            assemblies.c.holder_id,
            _holders.c.holder,
            presets.c.gauge_id,
            _gauges.c.gauge,
            _measured.c.at.label("measured_at"),
            presets.c.lf_tenths_um,
            presets.c.wf_tenths_um,
            presets.c.hf_tenths_um,
            presets.c.expanded_uncertainty_mm,
            mounts.c.offset_x_tenths_um,
            mounts.c.offset_y_tenths_um,
            mounts.c.offset_z_tenths_um,
            steps.c.x.label("step_x_tenths_um"),
            steps.c.y.label("step_y_tenths_um"),
            steps.c.z.label("step_z_tenths_um"),
        )
        .select_from(joined)
        .join(assemblies, assemblies.c.fact_id == mounts.c.assembly_id)
        .join(_holders, _holders.c.id == assemblies.c.holder_id)
        .join(presets, presets.c.fact_id == mounts.c.preset_id)
        .join(_measured, _measured.c.id == presets.c.fact_id)
        .outerjoin(_gauges, _gauges.c.id == presets.c.gauge_id)
        .where(_mounted.c.at <= _UP_TO, stands(mounts.c.fact_id))
    )


def _of_station() -> Select[Any]:
    in_station: BindParameter[int] = bindparam("in_station_id", type_=Integer())
    inside = select(mounts.c.fact_id).where(mounts.c.station_id == in_station)
    steps = _STEPS.where(corrections.c.mount_id.in_(inside)).subquery()
    return (
        _rows(steps, with_steps_only=False)
        .where(mounts.c.station_id == in_station)
        .order_by(mounts.c.fact_id)
    )


_OF_STATION = _of_station()
_OF_SHOP = (
    _rows(_STEPS.subquery(), with_steps_only=True)
    .order_by(mounts.c.fact_id.desc())
    .limit(bindparam("most"))
)


def stays_with_first_offs(tx: Tx, station_id: int, up_to: datetime) -> tuple[FirstOffRow, ...]:
    """Every stay in a station up to an instant, in order, with or without a first-off."""
    found = tx.execute(_OF_STATION, {"in_station_id": station_id, "up_to": up_to}).all()
    return named_rows(FirstOffRow, found)


def first_offs_of_shop(tx: Tx, up_to: datetime, most: int) -> tuple[FirstOffRow, ...]:
    """The newest stays with a first-off in any station, in the order of their mounts."""
    found = tx.execute(_OF_SHOP, {"up_to": up_to, "most": most}).all()
    return named_rows(FirstOffRow, reversed(found))
