"""The stops that machines make anyway, from their runs, bars and shifts."""

from __future__ import annotations

from crib.cutting.kinematics import parts_per_bar
from crib.floor.calendar import ALWAYS, WorkCalendar
from crib.floor.timeline import spans_in, us_of, window
from crib.outlook.shop_now import ShopNow
from crib.planning.stops_ahead import Bar, Stops, stops_ahead
from crib.planning.succession import PLANNED_S
from crib.store.shop_records import MachineOfShop, RunOfShop


def machine_stops(shop: ShopNow) -> list[Stops]:
    """Stops of every machine, in the order of ``shop.machines``."""
    starts: dict[int, list[float]] = {}
    return [stops_of_machine(shop, machine_id, starts) for machine_id in shop.machines]


def stops_of_machine(shop: ShopNow, machine_id: int, starts: dict[int, list[float]]) -> Stops:
    """Stops of one machine.

    Args:
        shop: The shop.
        machine_id: The machine.
        starts: Starts of shifts by the identity of a calendar, kept from machine to machine.
    """
    machine, calendar = shop.machines[machine_id].ahead, shop.machines[machine_id].calendar
    if id(calendar) not in starts:
        starts[id(calendar)] = [
            machine.time.seconds_at(start_us) for start_us in _shift_starts(shop, calendar)
        ]
    bars = _bars(shop, machine_id)
    return stops_ahead(machine, bars, starts[id(calendar)], PLANNED_S)


def _shift_starts(shop: ShopNow, calendar: WorkCalendar) -> list[int]:
    """Starts of attended shifts ahead [µs]; none where nothing is said of shifts."""
    if calendar is ALWAYS:
        return []
    now_us = us_of(shop.now)
    start, _, attended = spans_in(calendar.hours, *window(shop.now))
    last_us = now_us + round(PLANNED_S * 4e6)  # closed hours lie between the running ones
    kept = attended & (start > now_us) & (start < last_us)
    return [int(at) for at in start[kept]]


def _bars(shop: ShopNow, machine_id: int) -> list[Bar | None]:
    """How each run ahead uses up bars; a run begins with a new one."""
    if machine_id in shop.left_out.machines:
        return []
    runs = shop.rows.runs.get(machine_id, ())
    record, now = shop.rows.machines[machine_id], shop.machines[machine_id]
    bars = [_bar(record, run, 0.0) for run in runs if run.state == "planned"]
    if now.running and now.rest:
        place, run = now.running
        bars.insert(0, _bar(record, run, now.output.parts_of_run(place) + now.rest.untold))
    return bars


def _bar(machine: MachineOfShop, run: RunOfShop, made: float) -> Bar | None:
    if not machine.bar_length_mm or not run.part_length_mm:
        return None
    parts = parts_per_bar(
        machine.bar_length_mm,
        machine.bar_remnant_mm or 0.0,
        run.part_length_mm,
        run.cutoff_width_mm or 0.0,
    )
    return Bar(parts, made) if parts else None
