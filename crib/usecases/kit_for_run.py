"""The changeover kit of a run: what stays, is pulled, built, goes back, and the minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from crib.errors import Conflict, NotKnown
from crib.planning.kits import Kit, StationNow, WantedTool, make_kit
from crib.usecases.changeovers import start_of_run
from crib.usecases.forecast import Forecast, ShopPlan
from crib.usecases.left_out import at_once, worked_out
from crib.usecases.swap_list import make_shelf
from crib.usecases.swaps_ahead import measures_of

#: An edge with less than this left of its planned life is changed with the job.
LEAST_LEFT = 0.25


@dataclass(frozen=True, slots=True)
class RunKit:
    """A kit and the run that it is for.

    Attributes:
        run_id: The run.
        machine: Its machine.
        part: Its part.
        quantity: Parts to make.
        at: When the changeover is expected; now where the run is on or that is not foreseen.
        kit: Tool by tool.
        problems: Tools that it is made without, why, and what to do.
    """

    run_id: int
    machine: str
    part: str
    quantity: int
    at: datetime
    kit: Kit
    problems: tuple[str, ...] = ()


def kit_for_run(plan: ShopPlan, run_id: int) -> RunKit:
    """Compare what sits in the machine with what a run's part wants.

    Args:
        plan: The shop's plan.
        run_id: The run, planned or running.

    Raises:
        NotKnown: No such run.
        Conflict: The run is done, or its part has no operations.
    """
    view = plan.view
    run, machine_id = _find(plan, run_id)
    if run.state == "done":
        raise Conflict(f"Run {run_id} is done; a kit is for a run ahead.")
    stations = [row for row in view.rows.stations.values() if row.machine_id == machine_id]
    wanted = [
        WantedTool(number, path, view.rows.specs[spec_id].tool_spec)
        for number, path, spec_id in view.cutting.tools_of(run.part_id)
    ]
    if not wanted:
        raise Conflict(
            f"Part {run.part} has no operations: give them in operations.csv, then ask again."
        )
    planned = run.state == "planned"
    at = (start_of_run(plan, run_id, machine_id) if planned else None) or view.now
    forecasts = {forecast.station_id: forecast for forecast in plan.forecasts}
    holders = {row.id: row for row in view.rows.holders}
    now = worked_out(
        stations,
        lambda row: _station_now(row, forecasts.get(row.id), holders),
        lambda row: (
            f"What is in station {row.station} could not be worked out for the kit. Look at "
            "the station before the changeover; the service's log names the fault."
        ),
    )
    swap_minutes = {
        spec.tool_spec: spec.swap_minutes
        for spec in view.rows.specs.values()
        if spec.swap_minutes
    }
    known = {(row.path or 1, row.tool_number) for row in stations}
    lost = known - {(place.path, place.tool_number) for place in now}
    wanted = [tool for tool in wanted if (tool.path, tool.tool_number) not in lost]
    machine, shelf = view.rows.machines[machine_id].machine, make_shelf(view)
    kit, without = at_once(
        wanted,
        lambda tools: make_kit(
            at, machine, _called(now, wanted, tools), tools, shelf, swap_minutes
        ),
        lambda tool: (
            f"Tool number {tool.tool_number} ({tool.tool_spec}) could not be worked out for "
            "the kit. Get it ready by hand, and check the records of the spec and its items; "
            "the service's log names the fault."
        ),
    )
    problems = (*now.problems, *without)
    return RunKit(run_id, machine, run.part, run.quantity, at, kit, problems)


def _called(
    now: Sequence[StationNow], wanted: Sequence[WantedTool], tools: Sequence[WantedTool]
) -> list[StationNow]:
    """Stations but for those of tools that the kit is made without: they are not idle."""
    without = {(one.path, one.tool_number) for one in wanted if one not in tools}
    return [place for place in now if (place.path, place.tool_number) not in without]


def _find(plan: ShopPlan, run_id: int) -> tuple[Any, int]:
    for machine_id, runs in plan.view.rows.runs.items():
        for run in runs:
            if run.id == run_id and machine_id in plan.view.rows.machines:
                return run, machine_id
    raise NotKnown(f"There is no run {run_id} on a machine in service.", facts={"run": run_id})


def _station_now(row: Any, forecast: Forecast | None, holders: dict[int, Any]) -> StationNow:
    if forecast is None:
        return StationNow(
            row.id, row.station, row.tool_number, row.path or 1, measures=measures_of(row)
        )
    holder = holders.get(forecast.holder_id)
    return StationNow(
        row.id,
        row.station,
        row.tool_number,
        row.path or 1,
        forecast.assembly,
        forecast.tool_spec,
        holder.holder if holder else None,
        holder.holder_type if holder else None,
        forecast.why not in ("past", "broken") and forecast.share_used < 1 - LEAST_LEFT,
        measures_of(row),
    )
