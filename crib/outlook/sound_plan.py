"""A plan that one record cannot take down: what fails alone is left out and named."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from crib.floor.timeline import us_of
from crib.left_out import NOT_A_RECORDS, Blamed, Unsound, culprits, each, log_once
from crib.outlook.expected_lives import ExpectedLives
from crib.outlook.jobless import jobless_parts
from crib.outlook.machine_stops import stops_of_machine
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.planning.due import sound_rows
from crib.planning.night import MachineNight, NightLimit
from crib.planning.stops_ahead import NO_STOPS, Stops
from crib.sentence import sentence
from crib.store.machine_rows import StayRow

_Plan = TypeVar("_Plan")

#: Attempts to make a plan; each leaves out what made the one before fail.
_MOST_ATTEMPTS = 4

#: Attempts to find which of the tools left out before still fail.
_FEW_TRIALS = 24


def without_culprits(
    machines: ShopNow,
    plan_of: Callable[[ShopNow, Iterable[int] | None], _Plan],
    before: Mapping[int, str],
) -> _Plan:
    """The plan, without the tools whose figures cannot be worked out where there are any.

    Args:
        machines: The shop.
        plan_of: Makes a plan of a shop, of some of its tools or of all that are not left out.
        before: Tools that the plan before this one was made without, to try them first.
    """
    machines = _without(machines, _still_failing(machines, plan_of, before))
    for attempt in range(_MOST_ATTEMPTS):
        try:
            return plan_of(machines, None)
        except NOT_A_RECORDS:
            raise
        except Exception as fault:
            found = _culprits(machines, plan_of, fault)
            if not found or attempt == _MOST_ATTEMPTS - 1:
                raise
            machines = _without(machines, found)
    raise AssertionError  # the last attempt returns or raises


def _still_failing(
    machines: ShopNow,
    plan_of: Callable[[ShopNow, Iterable[int] | None], _Plan],
    before: Mapping[int, str],
) -> list[tuple[int, BaseException]]:
    mounted = {row.assembly_id for row in machines.rows.stays}
    again = sorted((before.keys() & mounted) - machines.left_out.tools.keys())
    kind = machines.rows.assemblies
    return (
        culprits(
            again,
            lambda some: plan_of(machines, some),
            lambda tool: kind[tool].tool_spec_id,
            _FEW_TRIALS,
        )
        if again
        else []
    )


def _without(machines: ShopNow, found: Iterable[tuple[int, BaseException]]) -> ShopNow:
    """The shop with these tools left out."""
    tools: dict[int, str] = {}
    for tool, fault in found:
        tools[tool] = _unworkable(machines, tool)
        log_once(sentence("The forecast of tool {name}", name=_name(machines, tool)), fault)
    return replace(machines, left_out=machines.left_out.with_tools(tools))


def _culprits(
    machines: ShopNow,
    plan_of: Callable[[ShopNow, Iterable[int] | None], _Plan],
    fault: Exception,
) -> list[tuple[int, BaseException]]:
    if isinstance(fault, Blamed):
        return [*fault.faults.items()]
    if isinstance(fault, Unsound):
        return [(tool, fault) for tool in fault.tools]
    built = machines.rows.assemblies

    def kind(tool: int) -> tuple[int, int]:
        return built[tool].cutting_item_id, built[tool].tool_spec_id

    tools = {row.assembly_id for row in machines.rows.stays}
    # like ones side by side, so that what one record spoils is found together
    alike = sorted(tools - machines.left_out.tools.keys(), key=lambda tool: (*kind(tool), tool))
    return culprits(alike, lambda some: plan_of(machines, some), kind)


def _name(shop: ShopNow, tool: int) -> str:
    return shop.rows.assemblies[tool].code or str(tool)


def _unworkable(shop: ShopNow, tool: int) -> str:
    rows, built = shop.rows, shop.rows.assemblies[tool]
    spec, item = rows.specs[built.tool_spec_id], rows.items[built.cutting_item_id]
    return sentence(
        "The forecast of this tool could not be worked out. Look at the edge, "
        "and swap it if in doubt. Then check the records of tool spec "
        "{tool_spec}, item {cutting_item} and the part that runs. The service "
        "log has the details.",
        tool_spec=spec.tool_spec,
        cutting_item=item.cutting_item,
    )


def stops_by_machine(shop: ShopNow) -> tuple[list[Stops], list[str]]:
    """Stops of every machine, and a sentence for each whose stops cannot be worked out.

    Such a machine has none.
    """
    found: dict[int, Stops] = {}
    starts: dict[int, list[float]] = {}

    def stops(machine_id: int) -> None:
        found[machine_id] = stops_of_machine(shop, machine_id, starts)

    failed = each(
        shop.machines,
        stops,
        lambda machine_id: sentence(
            "The stops ahead of machine {machine} could not be worked out: no swap "
            "there waits for one.",
            machine=shop.machines[machine_id].ahead.machine,
        ),
    )
    return [found.get(machine_id, NO_STOPS) for machine_id in shop.machines], failed


def refuse_unsound(expected: ExpectedLives) -> None:
    """Raise where the figures of a mounted edge are none: they would spoil its neighbours."""
    sound = sound_rows(expected.edges, expected.due)
    if not sound.all():
        raise Unsound(expected.mounted[row].row.assembly_id for row in np.flatnonzero(~sound))


def worn_elsewhere(shop: ShopNow, row: StayRow) -> str:
    """Why nothing is known of a tool that itself is sound."""
    return sentence(
        "Tool {name} was in a machine before whose figures could not be worked out, "
        "so its wear is not known. Look at the edge, and swap it if in doubt.",
        name=_name(shop, row.assembly_id),
    )


def limits_of_machines(
    shop: ShopNow, mounted: Iterable[Stay], night_limit: float
) -> list[NightLimit]:
    """What is accepted of each machine while nobody is there.

    A limit of the loss needs a failure cost of every tool that is mounted; without one of them
    the chance counts.

    Args:
        shop: The shop.
        mounted: The mounted edges that a plan is made of.
        night_limit: Chance of a failure, for machines whose record gives none.
    """
    lacking: dict[int, set[str]] = defaultdict(set)
    for stay in mounted:
        spec = shop.rows.specs[shop.rows.assemblies[stay.row.assembly_id].tool_spec_id]
        if spec.failure_cost_minor is None:
            machine_id = shop.rows.stations[stay.row.station_id].machine_id
            lacking[machine_id].add(spec.tool_spec)
    found = []
    for machine_id in shop.machines:
        own = shop.rows.machines[machine_id]
        percent, loss = own.night_limit_percent, own.night_limit_loss_minor
        without = tuple(sorted(lacking[machine_id])) if loss is not None else ()
        chance = night_limit if percent is None else percent / 100
        found.append(NightLimit(chance, None if without else loss, without))
    return found


def nights_seen(
    shop: ShopNow, nights: Sequence[MachineNight], limits: Sequence[NightLimit]
) -> list[MachineNight]:
    """The nights with what their chances leave out: such a one is not called safe.

    That are edges that nothing is known of, and parts that a machine made for no known job.
    """
    unknown: dict[str, list[int]] = defaultdict(list)
    for row in shop.unknown:
        station = shop.rows.stations.get(row.station_id)
        if row.end_us is None and station is not None:
            unknown[station.machine].append(station.id)
    jobless = jobless_parts(shop)
    stands = {one.ahead.machine for one in shop.machines.values() if one.told.stands_since}
    found = [
        replace(
            one,
            unknown=tuple(unknown.get(one.machine, ())),
            jobless=jobless.get(one.machine, 0),
            stands=one.machine in stands,
        )
        for one in nights
    ]
    told = {one.machine for one in found if one.ordinal == 0}
    for machine, limit in zip(shop.machines.values(), limits, strict=True):
        name = machine.ahead.machine
        dark = machine.calendar.next_unattended(shop.now)
        if name in told or dark is None or not (name in unknown or name in jobless):
            continue
        begin, end = max(us_of(dark.start_at), us_of(shop.now)), us_of(dark.end_at)
        nothing = (0.0, 0.0, 0.0, 0.0, 0.0, ())
        night = MachineNight(name, begin, end, *nothing, limit)
        stations = tuple(unknown.get(name, ()))
        found.append(replace(night, unknown=stations, jobless=jobless.get(name, 0)))
    return sorted(found, key=lambda one: one.ordinal)
