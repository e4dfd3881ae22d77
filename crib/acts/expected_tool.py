"""What the program of the run on a machine expects in one of its stations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.clock import us_from_instant
from crib.cutting.engagement import engage
from crib.errors import OutsideModel
from crib.floor.mount import Expected
from crib.planning.parts_without_run import run_span
from crib.planning.runs_that_count import first_that_uses
from crib.planning.runs_that_count import runs_that_count as those_that_count
from crib.store.cutting_rows import operations_of
from crib.store.engine import Tx
from crib.store.stations import (
    RunRow,
    StationRow,
    expected_specs,
    runs_of,
    stations_expecting,
)
from crib.store.stockrows import SpecRow, spec_row
from crib.units import TenthsUm


@dataclass(frozen=True, slots=True)
class ExpectedTool:
    """The run that was looked at and what it expects; both None where no run says anything."""

    run: RunRow | None
    spec: SpecRow | None
    expected: Expected | None


def runs_that_count(tx: Tx, machine_id: int, at: datetime) -> tuple[RunRow, ...]:
    """The run on a machine at an instant, if any, and those planned, the next one first."""
    runs = {run.id: run for run in runs_of(tx, machine_id)}
    counting = those_that_count(map(run_span, runs.values()), us_from_instant(at))
    return tuple(runs[one.id] for one in counting)


def expected_tool(
    tx: Tx, station: StationRow, at: datetime, offered_spec_id: int | None = None
) -> ExpectedTool:
    """What the program expects in a station at an instant.

    The run on the machine counts; where it leaves the station empty, or none is on, the first
    one planned that uses it does, so that a changeover can be set up ahead. Where a program's
    lines name several specs for the station, the one that is offered counts if it is among
    them.

    Args:
        tx: An open transaction.
        station: The station.
        at: When.
        offered_spec_id: Spec of the tool in the operator's hand, if there is one.
    """
    runs = runs_that_count(tx, station.machine_id, at)
    if not runs:
        return ExpectedTool(None, None, None)
    run, rows = first_that_uses(
        runs, lambda run: expected_specs(tx, run.part_id, station.tool_number, station.path)
    )
    wanted_at: tuple[str, ...] = ()
    if offered_spec_id is not None and offered_spec_id not in {
        row.tool_spec_id for row in rows
    }:
        wanted_at = stations_expecting(tx, station.machine_id, run.part_id, offered_spec_id)
    if not rows:
        return ExpectedTool(run, None, Expected(run.part, wanted_at=wanted_at))
    ids = [row.tool_spec_id for row in rows]
    spec = spec_row(tx, offered_spec_id if offered_spec_id in ids else ids[0])
    radius = spec.nose_radius_tenths_um
    return ExpectedTool(
        run,
        spec,
        Expected(
            run.part,
            spec.tool_spec,
            spec.tip_orientation,
            None if radius is None else TenthsUm(radius),
            wanted_rpm=_wanted_rpm(tx, run, station),
            wanted_at=wanted_at,
        ),
    )


def _wanted_rpm(tx: Tx, run: RunRow, station: StationRow) -> float | None:
    """Highest spindle speed that the program asks for in so many words.

    A cutting speed alone asks for none: where nothing bounds it in the program, the limits of
    machine, station and tool have to be set at the control.
    """
    wanted = []
    for operation in operations_of(tx, run.part_id, station.tool_number, station.path):
        if operation.spindle_rpm is None:
            continue
        try:
            rpm = engage(operation, {"machine": station.spindle_max_rpm}).spindle_rpm
        except OutsideModel:
            rpm = operation.spindle_rpm  # columns missing for the time, not for the speed
        wanted.append(operation.spindle_rpm if rpm is None else rpm)
    return max(wanted, default=None)
