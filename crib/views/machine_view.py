"""One machine for its operator: its stations, what is left in each, what is due."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from crib.acts.expected_tool import ExpectedTool, expected_tool, runs_that_count
from crib.errors import Refusal
from crib.left_out import Kept, each, worked_out
from crib.outlook.machine_told import MachineTold
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.planning.shelf import Sister
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.store.shop_records import MachineOfShop
from crib.store.stations import RunRow, StationRow, station_row, stations_of
from crib.views.kit_for_run import kit_for_run
from crib.views.night_view import NightView, tonight
from crib.views.shift_summary import quiet_state
from crib.views.shift_view import last_count_at
from crib.views.where_it_lies import places_now

#: A swap that is nearer than this is soon; common practice, no source.
SOON = timedelta(hours=2)
#: How far to look for the next swap of a machine that has none in the next day [h].
_DAYS_AFTER = 72.0


@dataclass(frozen=True, slots=True)
class StationNow:
    """One station as it is now.

    Attributes:
        row: The station.
        forecast: Of the tool in it; None where it is empty.
        wants: What the program expects there.
        swap: The tool's swap within the horizon, if it is due in it.
        sister: The tool for that swap; of an empty station that no run within the horizon
            needs, a tool that waits for it.
        sister_place: Where to look for the sister, or for the holder to build it with.
        state: ``wanted`` (empty, and the run on the machine needs a tool there), ``empty`` (a
            run needs one within the horizon), ``later`` (one needs it after that), ``unused``,
            ``due``, ``soon``, ``runs``, ``rests`` (nothing that runs uses it) or ``unknown``
            (it could not be worked out).
        problem: Why it could not be worked out, and what to do.
    """

    row: StationRow
    forecast: Forecast | None
    wants: ExpectedTool
    swap: SwapRow | None
    sister: Sister | None
    sister_place: str | None
    state: str
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class MachineNow:
    """One machine as it is now.

    Attributes:
        machine: Its name.
        run: The run on it, else the next one planned.
        stations: Every station, by path and tool number.
        due: Those that are to be swapped within the horizon, the most urgent first.
        told: Whether it cuts or stands, by its counts.
        problems: What of it could not be worked out, and what to do.
        later: Where nothing is due in it, the first swap of the days after; None: none there
            either.
        last_count_at: Its last part count; None: it never sent one.
        silent_since: Set where a run is on and it stopped sending.
        night: Its next unattended stretch; None where none lies ahead.
    """

    machine: str
    run: RunRow | None
    stations: tuple[StationNow, ...]
    due: tuple[StationNow, ...]
    told: MachineTold
    problems: tuple[str, ...] = ()
    later: StationNow | None = None
    last_count_at: datetime | None = None
    silent_since: datetime | None = None
    night: NightView | None = None

    def by_slide(self) -> list[tuple[str | None, list[StationNow]]]:
        """Its stations by slide, in the order of their first station."""
        slides: dict[str | None, list[StationNow]] = defaultdict(list)
        for station in self.stations:
            slides[station.row.slide].append(station)
        return list(slides.items())


def machine_now(tx: Tx, plan: ShopPlan, name: str) -> MachineNow:
    """A machine with every station.

    Args:
        tx: An open transaction.
        plan: The shop's forecast.
        name: Name of the machine, in any case.

    Raises:
        NotKnown: There is no such machine.
    """
    machine_id = machine_id_by_name(tx, name)
    rows = stations_of(tx, machine_id)
    machine = rows[0].machine if rows else plan.shop.rows.machines[machine_id].machine
    stations = _stations(tx, plan, rows)
    places = {id(row): place for place, row in enumerate(make_swap_list(plan).rows)}
    due = [one for one in stations if one.swap is not None]
    due.sort(key=lambda one: places[id(one.swap)])
    told, here = plan.shop.told(machine_id), plan.shop.machines.get(machine_id)
    found = worked_out(
        [machine_id],
        lambda one: runs_that_count(tx, one, plan.shop.now),
        lambda _: sentence(
            "Which run is on machine {machine} could not be worked out. Check its "
            "runs. The service log has the details.",
            machine=machine,
        ),
    )
    runs = [run for of_machine in found for run in of_machine]
    run = runs[0] if runs else None
    nights = tonight(plan, machine)
    return MachineNow(
        machine,
        run,
        tuple(stations),
        tuple(due),
        told,
        (*found.problems, *nights.problems),
        None if due else _first_later(tx, plan, machine, stations),
        last_count_at(plan, machine_id),
        here.silent_since if here else None,
        next(iter(nights), None),
    )


def _first_later(
    tx: Tx, plan: ShopPlan, machine: str, stations: Sequence[StationNow]
) -> StationNow | None:
    """The first swap within three days, with the tool that is to go in."""
    rows = make_swap_list(plan, _DAYS_AFTER, machine).rows
    swap = min(rows, key=lambda row: row.swap_by, default=None)
    here = [one for one in stations if swap and one.row.id == swap.forecast.station_id]
    if swap is None or not here:
        return None
    place = places_now(tx).lies(swap.sister)
    return replace(here[0], swap=swap, sister=swap.sister, sister_place=place)


def station_now(tx: Tx, plan: ShopPlan, station_id: int) -> StationNow:
    """One station as it is now."""
    return _stations(tx, plan, [station_row(tx, station_id)])[0]


def _stations(tx: Tx, plan: ShopPlan, rows: Sequence[StationRow]) -> list[StationNow]:
    now = plan.shop.now
    forecasts = {one.station_id: one for one in plan.forecasts}
    swaps = {
        row.forecast.station_id: row for row in make_swap_list(plan).rows if row.ordinal == 0
    }
    places = places_now(tx)
    found: list[StationNow] = []

    def look(row: StationRow) -> None:
        wants = expected_tool(tx, row, now)
        forecast, swap = forecasts.get(row.id), swaps.get(row.id)
        sister = swap.sister if swap else None
        if swap is None and forecast is None and wants.run is not None:
            sister = _waits_for(plan, wants.run.id, row.station)
        place = places.lies(sister)
        state = _state(forecast, wants, swap, now)
        found.append(StationNow(row, forecast, wants, swap, sister, place, state))

    def failed(row: StationRow) -> str:
        why = sentence(
            "What station {station} needs could not be worked out. Look at its "
            "tool, then check the records of the station and of the part's "
            "operations. The service log has the details.",
            station=row.station,
        )
        nothing, forecast = ExpectedTool(None, None, None), forecasts.get(row.id)
        found.append(StationNow(row, forecast, nothing, None, None, None, "unknown", why))
        return why

    each(rows, look, failed)
    return found


def _waits_for(plan: ShopPlan, run_id: int, station: str) -> Sister | None:
    """What the kit of a job pulls from the rack for a station."""
    try:
        kit = kit_for_run(plan, run_id).kit
    except Refusal:
        return None  # the kit's own page says why there is none
    return next((line.sister for line in kit.pull if line.station == station), None)


def _state(
    forecast: Forecast | None, wants: ExpectedTool, swap: SwapRow | None, now: datetime
) -> str:
    if forecast is None:
        if swap is not None:
            return "wanted" if swap.swap_by <= now else "empty"
        return "unused" if wants.spec is None else "later"
    if swap is not None and swap.is_due(now):
        return "due"
    if swap is not None and swap.is_due(now + SOON):
        return "soon"
    return "rests" if forecast.parts_left.get("p50") is None else "runs"


@dataclass(frozen=True, slots=True)
class MachineLine:
    """One machine in the list of all.

    Attributes:
        machine: Its name.
        told: Whether it cuts or stands, by its counts.
        next_swap: Its most urgent swap within the horizon.
        due: Swaps that are due now, the most urgent first.
        night: Its next unattended stretch; None where none lies ahead.
        not_ready: Sisters within the horizon that are to be built or measured.
        blocked: Sisters within the horizon that the bench can do nothing for.
        sister_place: Where the sister of the next swap lies.
        last_count_at: Its last part count; None: it never sent one.
        silent_since: Set where a run is on and it stopped sending.
    """

    machine: str
    told: MachineTold
    next_swap: SwapRow | None
    due: tuple[SwapRow, ...]
    not_ready: int
    blocked: int
    night: NightView | None
    sister_place: str | None = None
    last_count_at: datetime | None = None
    silent_since: datetime | None = None

    @property
    def quiet(self) -> str | None:
        """Whether it is silent or stands, in one word; None where it is neither."""
        return quiet_state(self.told, self.silent_since, self.last_count_at)


def machines_now(tx: Tx, plan: ShopPlan) -> Kept[MachineLine]:
    """Every machine and what is due next at it, by name; ``problems`` names the others.

    Args:
        tx: An open transaction.
        plan: The shop's forecast.
    """
    now, shop, places = plan.shop.now, plan.shop, places_now(tx)
    swaps: dict[str, list[SwapRow]] = defaultdict(list)
    for row in make_swap_list(plan).rows:
        swaps[row.forecast.machine].append(row)
    found = tonight(plan)
    nights = {one.night.machine: one for one in found}

    def line(machine: MachineOfShop) -> MachineLine:
        rows = swaps[machine.machine]
        due = [row for row in rows if row.ordinal == 0]
        return MachineLine(
            machine.machine,
            shop.told(machine.id),
            due[0] if due else None,
            tuple(row for row in due if row.is_due(now)),
            sum(row.not_ready for row in rows),
            sum(row.blocked for row in rows),
            nights.get(machine.machine),
            places.lies(due[0].sister) if due else None,
            last_count_at(plan, machine.id),
            shop.machines[machine.id].silent_since,
        )

    lines = worked_out(
        shop.rows.machines.values(),
        line,
        lambda machine: sentence(
            "What is due at machine {machine} could not be worked out. Look at its "
            "edges, and check its record and its runs. The service log has the "
            "details.",
            machine=machine.machine,
        ),
    )
    lines.sort(key=lambda line: line.machine)
    lines.problems = (*lines.problems, *found.problems)
    return lines
