"""What a supervisor needs of a plan for the shift: lines to run-out, nights, blocks, counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from crib.clock import instant_from_us
from crib.errors import Conflict, NotKnown
from crib.floor.calendar import Stretch
from crib.left_out import NOT_WORKED_OUT, worked_out
from crib.outlook.machine_told import MachineTold
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swap_list import blocked_rows, make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.planning.night import MachineNight
from crib.sentence import sentence
from crib.store.counts import Counted
from crib.store.readings import NO_READINGS
from crib.store.shop_records import MachineOfShop
from crib.views.night_view import NightView, tonight


@dataclass(frozen=True, slots=True)
class StationLine:
    """One mounted tool, or an empty station that needs one, and its swaps in the horizon."""

    forecast: Forecast
    swaps: tuple[SwapRow, ...]


@dataclass(frozen=True, slots=True)
class MachineShift:
    """One machine over the horizon.

    Attributes:
        machine: Its name.
        lines: Its tools, the one that runs out first in front, and stations that lack one.
        open: When it is open within the horizon, attended or not.
        last_count_at: Its last part count; None: it never sent one.
        silent_since: Set where a run is on and it stopped telling.
        night: Its next unattended stretch; None where none lies ahead or nothing is mounted.
        told: Whether it cuts or stands, by its counts.
    """

    machine: str
    lines: tuple[StationLine, ...]
    open: tuple[Stretch, ...]
    last_count_at: datetime | None
    silent_since: datetime | None
    night: MachineNight | None
    told: MachineTold

    @property
    def mounted(self) -> bool:
        """Whether any tool is in it."""
        return any(line.forecast.assembly for line in self.lines)


@dataclass(frozen=True, slots=True)
class ShiftView:
    """The whole shop over a horizon.

    Attributes:
        now: Its begin.
        until: Its end.
        machines: By name.
        nights: Next unattended stretches, those first that need most.
        swaps: Every swap due within the horizon, the most urgent first.
        blocked: Those whose sister will not be ready in time.
        left_out: Why machines or other records could not be reckoned with.
        not_shown: Machines that are not among ``machines``, by name, each with the reason.
    """

    now: datetime
    until: datetime
    machines: tuple[MachineShift, ...]
    nights: tuple[NightView, ...]
    swaps: tuple[SwapRow, ...]
    blocked: tuple[SwapRow, ...]
    left_out: tuple[str, ...] = ()
    not_shown: Mapping[str, str] = field(default_factory=dict)


def shift_view(plan: ShopPlan, hours: float) -> ShiftView:
    """The shop over so many hours.

    Args:
        plan: The shop's plan.
        hours: Horizon [h].

    Raises:
        Invalid: A horizon out of range.
    """
    now = plan.shop.now
    listed = make_swap_list(plan, hours)
    until = now + timedelta(hours=hours)
    lines = _lines(plan, listed.rows)
    first = {night.machine: night for night in plan.nights if night.ordinal == 0}
    not_shown: dict[str, str] = {}

    def failed(row: MachineOfShop) -> str:
        not_shown[row.machine] = sentence(
            "The shift of machine {machine} could not be worked out. Look at its "
            "edges. The service log has the details.",
            machine=row.machine,
        )
        return not_shown[row.machine]

    machines = worked_out(
        sorted(plan.shop.rows.machines.values(), key=lambda one: one.machine),
        lambda row: _machine(plan, row.id, row.machine, until, lines, first),
        failed,
    )
    nights = tonight(plan)
    return ShiftView(
        now,
        until,
        tuple(machines),
        tuple(nights),
        listed.rows,
        tuple(blocked_rows(listed.rows)),
        (*plan.shop.left_out.records, *machines.problems, *nights.problems),
        not_shown,
    )


def machine_of(view: ShiftView, name: str) -> MachineShift:
    """One machine of the view, its name in any case.

    Raises:
        NotKnown: There is no such machine.
        Conflict: It could not be worked out.
    """
    wanted = name.strip().casefold()
    for one in view.machines:
        if one.machine.casefold() == wanted:
            return one
    for machine, why in view.not_shown.items():
        if machine.casefold() == wanted:
            raise Conflict(why)
    raise NotKnown(sentence("There is no machine {name}.", name=name), facts={"machine": name})


def _lines(plan: ShopPlan, rows: Sequence[SwapRow]) -> dict[str, list[StationLine]]:
    swaps: dict[int, list[SwapRow]] = defaultdict(list)
    for row in rows:
        swaps[row.forecast.station_id].append(row)
    lines: dict[str, list[StationLine]] = defaultdict(list)
    for forecast in (*plan.forecasts, *plan.empty):
        found = tuple(swaps.get(forecast.station_id, ()))
        lines[forecast.machine].append(StationLine(forecast, found))
    last = datetime.max.replace(tzinfo=plan.shop.now.tzinfo)
    for found_lines in lines.values():
        found_lines.sort(
            key=lambda line: (
                line.forecast.why != NOT_WORKED_OUT,
                line.forecast.run_out_at["p50"] or last,
            )
        )
    return lines


def _machine(
    plan: ShopPlan,
    machine_id: int,
    name: str,
    until: datetime,
    lines: dict[str, list[StationLine]],
    nights: dict[str, MachineNight],
) -> MachineShift:
    machine = plan.shop.machines[machine_id]
    return MachineShift(
        name,
        tuple(lines.get(name, ())),
        tuple(machine.calendar.stretches(plan.shop.now, until)),
        last_count_at(plan, machine_id),
        machine.silent_since,
        nights.get(name),
        machine.told,
    )


def last_count_at(plan: ShopPlan, machine_id: int) -> datetime | None:
    """When a machine sent its last part count; None: it never sent one."""
    told = plan.shop.machines[machine_id].output.at_us
    if not told.size:  # also of a machine that is left out
        told = plan.shop.rows.readings.get(Counted(machine_id), NO_READINGS).at_us
    return instant_from_us(int(told[-1])) if len(told) else None
