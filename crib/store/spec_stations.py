"""Rows of stations that may take tools of one spec, and which of them its jobs use."""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import text

from crib.metrology.offset import measures_of_axes
from crib.store.engine import Tx
from crib.store.named_rows import named_rows

_USES = (
    "o.tool_spec_id = :spec AND o.tool_number = s.tool_number"
    " AND coalesce(o.path, 1) = coalesce(s.path, 1)"
)
_STATIONS = text(
    f"""
    SELECT m.machine || '/' || s.station AS mark, s.interface, s.kind,
           s.axis_x, s.axis_y, s.axis_z,
           EXISTS (SELECT 1 FROM operations o JOIN runs r ON r.part_id = o.part_id
                   WHERE r.machine_id = m.id AND r.state <> 'done' AND r.retired_at IS NULL
                     AND {_USES}) AS planned,
           EXISTS (SELECT 1 FROM operations o WHERE {_USES}) AS programmed,
           coalesce(m.offset_unit, 'mm') AS offset_unit
    FROM stations s JOIN machines m ON m.id = s.machine_id
    WHERE s.retired_at IS NULL AND m.retired_at IS NULL
    ORDER BY m.machine, s.station
    """  # noqa: S608 - no value from outside
)


class SpecStation(NamedTuple):
    """A station in service: ``planned`` where a job ahead there uses the spec in it."""

    mark: str
    interface: str | None
    kind: str | None
    axis_x: str | None
    axis_y: str | None
    axis_z: str | None
    planned: bool
    programmed: bool
    offset_unit: str

    @property
    def measures(self) -> frozenset[str]:
        """LF, WF, HF as far as its offsets need them."""
        return measures_of_axes(self.axis_x, self.axis_y, self.axis_z)


def stations_for_spec(tx: Tx, tool_spec_id: int) -> tuple[SpecStation, ...]:
    """Every station in service, and whether jobs or programs use a spec in it."""
    return named_rows(SpecStation, tx.execute(_STATIONS, {"spec": tool_spec_id}))


def offset_units(tx: Tx, tool_spec_id: int | None) -> set[str]:
    """Units of the controls that a spec is for: of its jobs, its programs, else of all."""
    stations = stations_for_spec(tx, -1 if tool_spec_id is None else tool_spec_id)
    used = [one for one in stations if one.planned] or [
        one for one in stations if one.programmed
    ]
    return {one.offset_unit for one in used or stations}
