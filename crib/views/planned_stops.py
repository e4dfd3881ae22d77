"""When each machine stops anyway, and which tools are swapped there or at their own stop."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from crib.clock import instant_from_us
from crib.floor.timeline import us_of
from crib.left_out import each, worked_out
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.sound_plan import stops_by_machine
from crib.outlook.swap_list import make_swap_list
from crib.planning.due import MachineAhead
from crib.planning.stops_ahead import KINDS, OWN, STOP_MINUTES, Stops
from crib.sentence import sentence

#: A swap belongs to a stop that is no further away [µs].
_SAME_US = 1_000_000


@dataclass(frozen=True, slots=True)
class PlannedStop:
    """One stop of one machine.

    Attributes:
        machine: The machine.
        at: When it is expected.
        running_s: Running seconds of the machine until then.
        kind: bar_change, shift_start or changeover; own where only swaps stop it.
        stop_min: Minutes that a swap costs there beside its own; 0: the machine stands anyway.
        swaps: Stations whose tools are swapped there.
    """

    machine: str
    at: datetime
    running_s: float
    kind: str
    stop_min: float
    swaps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlannedStops:
    """Stops of a horizon in order of time.

    Attributes:
        rows: The stops.
        until: End of the horizon.
        problems: What could not be worked out, and what to do.
    """

    rows: tuple[PlannedStop, ...]
    until: datetime
    problems: tuple[str, ...] = ()


def planned_stops(plan: ShopPlan, hours: float, machine: str | None = None) -> PlannedStops:
    """Every stop with somebody there within a horizon; stops made anyway up to 72 h of running.

    Args:
        plan: The shop's plan.
        hours: Horizon [h], above 0 and at most 720.
        machine: Only this machine's.

    Raises:
        Invalid: A horizon out of range.
    """
    listed = make_swap_list(plan, hours, machine)
    until_us = us_of(listed.until)
    swaps: dict[str, dict[int, list[str]]] = defaultdict(lambda: defaultdict(list))
    for row in listed.rows:
        if row.standby or row.swap_by > listed.until:
            continue  # only its sister is needed by then
        swaps[row.forecast.machine][us_of(row.swap_by)].append(row.forecast.station)
    rows: list[PlannedStop] = []
    told: list[str] = []

    def stops_at(one: tuple[MachineAhead, Stops]) -> None:
        ahead, stops = one
        found = worked_out(
            _stops_of(ahead, stops, until_us, swaps[ahead.machine]),
            lambda stop: _row(ahead.machine, *stop),
            lambda _: sentence(
                "A stop of machine {machine} could not be worked out. See in the swap "
                "list what is due there. The service log has the details.",
                machine=ahead.machine,
            ),
        )
        rows.extend(found)
        told.extend(found.problems)

    stops, _ = stops_by_machine(plan.shop)  # the plan tells of those that failed
    told += plan.shop.left_out.records
    told += each(
        [
            one
            for one in zip(plan.shop.ahead, stops, strict=True)
            if machine in (None, one[0].machine)
        ],
        stops_at,
        lambda one: sentence(
            "The stops of machine {machine} could not be worked out. See in the "
            "swap list what is due there. The service log has the details.",
            machine=one[0].machine,
        ),
    )
    rows.sort(key=lambda row: (row.at, row.machine))
    return PlannedStops(tuple(rows), listed.until, tuple(told))


def _stops_of(
    ahead: MachineAhead, stops: Stops, until_us: int, waiting: dict[int, list[str]]
) -> list[tuple[int, float, int, list[str]]]:
    """Stops of one machine as instant [µs], running seconds, kind and stations swapped."""
    found = []
    for second, kind in zip(stops.seconds.tolist(), stops.kind.tolist(), strict=True):
        at_us = ahead.time.clock_at(second)
        if not 0 <= at_us <= until_us:
            continue
        near = [us for us in waiting if abs(us - at_us) <= _SAME_US]
        there = [station for us in near for station in waiting.pop(us)]
        found.append((at_us, second, kind, there))
    for at_us, there in waiting.items():
        found.append((at_us, ahead.time.seconds_at(at_us), OWN, there))
    return found


def _row(machine: str, at_us: int, second: float, kind: int, swaps: list[str]) -> PlannedStop:
    return PlannedStop(
        machine,
        instant_from_us(at_us),
        second,
        KINDS[kind],
        STOP_MINUTES[kind],
        tuple(sorted(swaps)),
    )
