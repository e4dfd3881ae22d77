"""The changeover kits of runs: what stays, is pulled, built, goes back, and the minutes.

The swaps of the usual list have the first say over what waits, then the kits of changeovers
that lie within it, in order of time; then later swaps and later kits, in the same way; kits of
runs that are on come last. So nothing is promised twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from crib.errors import Conflict, NotKnown, Refusal
from crib.left_out import at_once, or_instead, worked_out
from crib.outlook.changeovers import changeovers_ahead, start_of_run
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swap_rows import USUAL_HOURS, SwapRow
from crib.outlook.swaps_ahead import measures_of
from crib.planning.kits import Kit, KitLine, StationNow, WantedTool, make_kit
from crib.planning.shelf import Sister, SwapNeed
from crib.planning.sisters import SpokenFor
from crib.sentence import sentence
from crib.store.shop_records import HolderOfShop, RunOfShop, StationOfShop

#: The rows of the swap list within so many hours.
Rows = Callable[[ShopPlan, float], Sequence[SwapRow]]

#: The swap list that has the first say where a changeover lies beyond the usual one [h].
FAR_HOURS = 72.0
#: The lists that are shared out before one that looks further, each with its kits.
FIRST_LISTS = (USUAL_HOURS, FAR_HOURS)

#: States of a sister that will be there.
_PROMISED = ("ready", "measure", "build")

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


def make_run_kit(plan: ShopPlan, run_id: int, rows: Rows) -> RunKit:
    """Compare what sits in the machine with what a run's part wants.

    Args:
        plan: The shop's plan.
        run_id: The run, planned or running.
        rows: The swap list.

    Raises:
        NotKnown: No such run.
        Conflict: The run is done, or its part has no operations.
    """
    run, _ = _find(plan, run_id)
    if run.state == "done":
        raise Conflict(
            sentence("Run {run_id} is done; a kit is for a run ahead.", run_id=run_id)
        )
    if isinstance(kept := plan.kits.get(run_id), RunKit):
        return kept
    before: list[RunKit] = []
    for number in _in_turn(plan):
        if number == run_id:
            break
        if number not in plan.kits:
            try:
                plan.kits[number] = _made(plan, number, before, rows)
            except Refusal:
                plan.kits[number] = None  # it is told to whoever asks for that kit
        if isinstance(known := plan.kits[number], RunKit):
            before.append(known)
    made = plan.kits[run_id] = _made(plan, run_id, before, rows)
    return made


def spoken_for(plan: ShopPlan, hours: float, rows: Rows) -> list[SpokenFor]:
    """What kits of changeovers take that the swaps of a list have to leave to them.

    Args:
        plan: The shop's plan.
        hours: Horizon of that list [h].
        rows: The swap list, for shorter horizons.

    Returns:
        Each with the turn of the swaps from which on it is kept; see :func:`turns_of`.
    """
    found: list[SpokenFor] = []
    listed: dict[float, set[str | None]] = {
        first: {_mark(row.sister) for row in rows(plan, first)} | {None}
        for first in FIRST_LISTS
        if first < hours
    }
    for changeover in changeovers_ahead(plan) if listed else ():
        number, first = changeover.run_id, _first_list(plan, changeover.at)
        if first not in listed:
            continue
        turn = FIRST_LISTS.index(first) + 1
        kit = or_instead(
            partial(_kit_or_none, plan, number, rows),
            sentence(
                "What the kit of run {run} takes could not be worked out. A later swap "
                "may name the same tool.",
                run=number,
            ),
            lambda: None,
        )
        found += [
            SpokenFor(turn, line.tool_spec, line.sister)
            for line in (_changed(kit.kit) if kit else ())
            if line.sister is not None and _mark(line.sister) not in listed[first]
        ]
    return found


def turns_of(plan: ShopPlan, hours: float, needs: Sequence[SwapNeed], rows: Rows) -> list[int]:
    """In which turn a list serves its swaps: first those that a shorter list has.

    So a list that looks further gives those what the shorter one gives them.
    """
    turn: dict[tuple[int, int], int] = {}
    for number, first in enumerate(FIRST_LISTS):
        for row in rows(plan, first) if hours > first else ():
            turn.setdefault((row.forecast.station_id, row.ordinal), number)
    last = sum(hours > first for first in FIRST_LISTS)
    return [turn.get((need.station_id, need.ordinal), last) for need in needs]


def _kit_or_none(plan: ShopPlan, run_id: int, rows: Rows) -> RunKit | None:
    try:
        return make_run_kit(plan, run_id, rows)
    except Refusal:
        return None  # it is told to whoever asks for that kit


def _first_list(plan: ShopPlan, at: datetime | None) -> float:
    """Hours of the swap list that has the first say over what a changeover's kit takes."""
    soon = at is not None and at <= plan.shop.now + timedelta(hours=USUAL_HOURS)
    return USUAL_HOURS if soon else FAR_HOURS


def _in_turn(plan: ShopPlan) -> list[int]:
    """Runs in the order in which their kits take what waits."""
    running = [
        run.id
        for machine_id, runs in plan.shop.rows.runs.items()
        if machine_id in plan.shop.rows.machines
        for run in runs
        if run.state == "running"
    ]
    return [one.run_id for one in changeovers_ahead(plan)] + running


def _made(plan: ShopPlan, run_id: int, before: Sequence[RunKit], rows: Rows) -> RunKit:
    shop = plan.shop
    run, machine_id = _find(plan, run_id)
    stations = [row for row in shop.rows.stations.values() if row.machine_id == machine_id]
    wanted = [
        WantedTool(number, path, shop.rows.specs[spec_id].tool_spec)
        for number, path, spec_id in shop.cutting.tools_of(run.part_id)
    ]
    if not wanted:
        raise Conflict(
            sentence(
                "Part {part} has no operations: give them in operations.csv, then ask again.",
                part=run.part,
            )
        )
    planned = run.state == "planned"
    starts = start_of_run(plan, run_id, machine_id) if planned else shop.now
    at = starts or shop.now
    forecasts = {forecast.station_id: forecast for forecast in plan.forecasts}
    holders = {row.id: row for row in shop.rows.holders}
    now = worked_out(
        stations,
        lambda row: _station_now(row, forecasts.get(row.id), holders),
        lambda row: sentence(
            "What is in station {station} could not be worked out for the kit. "
            "Look at the station before the changeover. The service log has the "
            "details.",
            station=row.station,
        ),
    )
    swap_minutes = {
        spec.tool_spec: spec.swap_minutes
        for spec in shop.rows.specs.values()
        if spec.swap_minutes
    }
    known = {(row.path or 1, row.tool_number) for row in stations}
    lost = known - {(place.path, place.tool_number) for place in now}
    wanted = [tool for tool in wanted if (tool.path, tool.tool_number) not in lost]
    machine = shop.rows.machines[machine_id].machine
    listed, usual = rows(plan, _first_list(plan, starts)), rows(plan, USUAL_HOURS)
    own, given = _given(machine, listed, usual, before)
    shelf = plan.shelf.less(given)
    holders_given = frozenset(one.holder for _, one in given if one.holder)
    kit, without = at_once(
        wanted,
        lambda tools: make_kit(
            at,
            machine,
            _called(now, wanted, tools),
            tools,
            shelf,
            swap_minutes,
            own,
            holders_given,
        ),
        lambda tool: sentence(
            "Tool number {tool_number} ({tool_spec}) could not be worked out for "
            "the kit. Get it ready by hand, and check the records of the spec and "
            "its items. The service log has the details.",
            tool_number=tool.tool_number,
            tool_spec=tool.tool_spec,
        ),
    )
    problems = (*now.problems, *without)
    return RunKit(run_id, machine, run.part, run.quantity, at, kit, problems)


def _changed(kit: Kit) -> tuple[KitLine, ...]:
    return (*kit.pull, *kit.build, *kit.blocked)


def _given(
    machine: str,
    listed: Sequence[SwapRow],
    usual: Sequence[SwapRow],
    before: Sequence[RunKit],
) -> tuple[dict[tuple[str, str], Sister], list[tuple[str, Sister]]]:
    """What is meant for stations of a machine, by name and spec; and all that is given.

    A sister that is blocked is no promise: the changeover may do better. Nor is a tool that the
    kit of an earlier changeover has, which looked at a nearer list. What the usual list gives
    is given, though one that looks further may share things out in another way.
    """
    own: dict[tuple[str, str], Sister] = {}
    taken = [
        (line.tool_spec, line.sister)
        for kit in before
        for line in _changed(kit.kit)
        if line.sister
    ]
    pulled = {sister.assembly for _, sister in taken} - {None}
    taken += [(row.tool_spec, row.sister) for row in usual if _mark(row.sister)]
    for kit in before:
        if kit.machine == machine:
            own |= {
                (line.station, line.tool_spec): line.sister
                for line in (*kit.kit.pull, *kit.kit.build)
                if line.station and line.sister
            }
    for row in (*usual, *listed):
        meant = _here(row, machine) and row.sister.state in _PROMISED
        if meant and row.sister.assembly not in pulled:
            own[row.forecast.station, row.tool_spec] = row.sister
    given = [
        (row.tool_spec, row.sister)
        for row in listed
        if row.sister.state in _PROMISED or not _here(row, machine)
    ]
    named = {_mark(sister) for _, sister in given} - {None}
    for tool_spec, sister in taken:
        mark = _mark(sister)
        if mark not in named:
            given.append((tool_spec, sister))
        named |= {mark} - {None}
    return own, given


def _here(row: SwapRow, machine: str) -> bool:
    return row.forecast.machine == machine and row.ordinal == 0


def _mark(sister: Sister) -> str | None:
    """What only one place can have: a tool, or the holder that one is built on."""
    return sister.assembly or sister.holder


def _called(
    now: Sequence[StationNow], wanted: Sequence[WantedTool], tools: Sequence[WantedTool]
) -> list[StationNow]:
    """Stations but for those of tools that the kit is made without: they are not idle."""
    without = {(one.path, one.tool_number) for one in wanted if one not in tools}
    return [place for place in now if (place.path, place.tool_number) not in without]


def _find(plan: ShopPlan, run_id: int) -> tuple[RunOfShop, int]:
    for machine_id, runs in plan.shop.rows.runs.items():
        for run in runs:
            if run.id == run_id and machine_id in plan.shop.rows.machines:
                return run, machine_id
    raise NotKnown(
        sentence("There is no run {run_id} on a machine in service.", run_id=run_id),
        facts={"run": run_id},
    )


def _station_now(
    row: StationOfShop, forecast: Forecast | None, holders: Mapping[int, HolderOfShop]
) -> StationNow:
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
