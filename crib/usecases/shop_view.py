"""The shop at an instant as the planner sees it: output, stays, keys, work ahead."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

import numpy as np

from crib.floor.calendar import ALWAYS, WorkCalendar
from crib.floor.timeline import instant, us_of
from crib.floor.week import WeekSpan
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.planning.ahead import TimeAhead, lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead
from crib.planning.output import NO_RUN, MachineOutput, machine_output
from crib.store.engine import Tx
from crib.store.shop_rows import ShopRows, StayRow, load_shop
from crib.store.wear_rows import CuttingData

#: How far ahead the calendars are laid out.
LOOK_AHEAD = timedelta(days=60)

#: Over which time the running share of a machine is learned.
_LEARN_US = 7 * 24 * 3_600_000_000

#: A machine whose last reading is not older than this is taken to be running on.
_SILENCE_S = 1_800.0

#: Calendars of these names are the bench's own hours.
BENCH_CALENDARS = ("bench", "toolroom")

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

#: Removals after which the same edge can go on.
GOES_ON = frozenset({"job_change", "inspection"})

#: What a removal says of the edge's life; the rest of the reasons say "worn".
ENDINGS = {
    "worn_as_planned": CENSORED,
    "job_change": CENSORED,
    "inspection": CENSORED,
    "chipped": BROKEN,
    "broken": BROKEN,
}


class Key(NamedTuple):
    """What shares one life law: cutting item x material group x operation class."""

    cutting_item_id: int
    material_group: str
    operation_class: str

    def text(self, items: dict[int, Any]) -> str:
        """The key as a name in addresses and lists."""
        item = items[self.cutting_item_id].cutting_item
        return f"{item}~{self.material_group}~{self.operation_class}"


@dataclass(frozen=True, slots=True)
class Stay:
    """One stay with what it took.

    Attributes:
        row: The facts.
        parts: Whole parts made in it.
        wear: Wear put on [wear units].
        engaged_min: Minutes in cut; None where no operation gives a time.
        key: Its key; None where nothing is known about the wear.
        spread: Prior standard deviation of ln(life) behind the wear.
        basis: Where the wear per part comes from.
    """

    row: StayRow
    parts: int
    wear: float
    engaged_min: float | None
    key: Key | None
    spread: float
    basis: str


@dataclass(slots=True)
class ShopView:
    """Everything the forecast and the swap list are made of.

    Attributes:
        now: The instant it speaks of.
        rows: Facts and records.
        cutting: Wear per part of any station and part.
        outputs: Output of each machine by id.
        stays: Every stay so far, in the order of ``rows.stays``.
        ahead: Time and work ahead of each machine by id.
        ahead_parts: Part ids of the runs ahead, by machine id.
        calendars: Calendar of each machine by id.
        silent_since: Last reading of machines that stopped telling, by id.
        bench: The calendar called bench or toolroom, if the shop has one.
    """

    now: datetime
    rows: ShopRows
    cutting: CuttingData
    outputs: dict[int, MachineOutput]
    stays: list[Stay]
    ahead: dict[int, MachineAhead]
    ahead_parts: dict[int, list[int]]
    calendars: dict[int, WorkCalendar]
    silent_since: dict[int, datetime | None]
    bench: WorkCalendar | None = None


def view_shop(tx: Tx, now: datetime) -> ShopView:
    """Read the shop and work out outputs, stays and plans as of an instant.

    Args:
        tx: An open transaction.
        now: The instant; facts dated later are not seen.
    """
    rows = load_shop(tx, us_of(now))
    cutting = CuttingData(tx)
    built = _calendars(rows)
    calendars = {m.id: built.get(m.calendar_id, ALWAYS) for m in rows.machines.values()}
    view = ShopView(now, rows, cutting, {}, [], {}, {}, calendars, {})
    for calendar_id, calendar in built.items():
        if rows.calendars[calendar_id].calendar.lower() in BENCH_CALENDARS:
            view.bench = calendar
    times: dict[int, TimeAhead] = {}
    for machine_id in rows.machines:
        runs = [run for run in rows.runs.get(machine_id, []) if run.state != "planned"]
        view.outputs[machine_id] = _output(rows, machine_id, runs, us_of(now))
        calendar = calendars[machine_id]
        if id(calendar) not in times:
            times[id(calendar)] = lay_out(calendar, now, now + LOOK_AHEAD)
        _plan_machine(view, machine_id, times[id(calendar)], runs)
    view.stays = _stays(view)
    return view


def _calendars(rows: ShopRows) -> dict[int, WorkCalendar]:
    return {
        calendar_id: WorkCalendar(
            tuple(
                WeekSpan(
                    _WEEKDAYS.index(span.weekday),
                    span.start_minute,
                    span.end_minute
                    if span.end_minute > span.start_minute
                    else span.end_minute + 1440,
                    bool(span.attended),
                )
                for span in spans
            ),
            rows.calendars[calendar_id].time_zone or "UTC",
        )
        for calendar_id, spans in rows.spans.items()
    }


def run_windows(runs: list[Any], now_us: int) -> tuple[list[int], list[int]]:
    """From when to when each run that began was on its machine [µs]; they do not overlap."""
    begins = [run.start_at or 0 for run in runs]
    ends = []
    for index, run in enumerate(runs):
        following = begins[index + 1] if index + 1 < len(runs) else now_us
        ends.append(min(run.end_at, following) if run.end_at is not None else following)
    return begins, [max(end, begin) for begin, end in zip(begins, ends, strict=True)]


def _output(rows: ShopRows, machine_id: int, runs: list[Any], now_us: int) -> MachineOutput:
    empty = np.empty(0, dtype=np.int64)
    readings = rows.readings.get(machine_id)
    runs.sort(key=lambda run: run.start_at or 0)
    begins, ends = run_windows(runs, now_us)
    if readings is None:
        return machine_output(empty, empty, empty, begins, ends)
    number = {run.id: index for index, run in enumerate(runs)}
    named = np.array(
        [number.get(run, NO_RUN) if run else NO_RUN for run in readings.run_id.tolist()],
        dtype=np.int64,
    )
    return machine_output(readings.at_us, readings.total, named, begins, ends)


def _plan_machine(view: ShopView, machine_id: int, time: TimeAhead, runs: list[Any]) -> None:
    now_us = us_of(view.now)
    output, calendar = view.outputs[machine_id], view.calendars[machine_id]
    share = _running_share(output, runs, calendar, now_us)
    view.silent_since[machine_id] = None
    lag_s = 0.0
    if output.at_us.size:
        last = instant(int(output.at_us[-1]))
        quiet_s = calendar.running_seconds(last, view.now) if last < view.now else 0.0
        if quiet_s <= _SILENCE_S:
            lag_s = quiet_s  # parts made since the last reading are still to be told
        else:
            view.silent_since[machine_id] = last
    ahead: list[RunAhead] = []
    parts: list[int] = []
    for index, run in enumerate(runs):
        if run.state == "running" and (run.start_at or 0) <= now_us:
            rate = run.cycle_s / share
            left = run.quantity - output.parts_of_run(index) - lag_s / rate
            ahead.append(RunAhead(run.part, left if left > 0 else float("inf"), rate))
            parts.append(run.part_id)
    for run in view.rows.runs.get(machine_id, []):
        if run.state == "planned":
            ahead.append(
                RunAhead(run.part, float(run.quantity), run.cycle_s / share, run.start_at)
            )
            parts.append(run.part_id)
    shift = calendar.current_shift(view.now)
    shift_end_s = time.seconds_at(us_of(shift.end_at)) if shift else 0.0
    view.ahead[machine_id] = MachineAhead(
        view.rows.machines[machine_id].machine, time, plan_segments(time, ahead), shift_end_s
    )
    view.ahead_parts[machine_id] = parts


def _running_share(
    output: MachineOutput, runs: list[Any], calendar: WorkCalendar, now_us: int
) -> float:
    """Share of the calendar's time that the machine really cuts, from its last week."""
    recent = output.at_us >= now_us - _LEARN_US
    if recent.sum() < 2:
        return 1.0
    at, total = output.at_us[recent], output.total[recent]
    cycles = np.array([run.cycle_s for run in runs] + [0.0])[output.run[recent]]
    busy_s = float((np.diff(total) * cycles[1:]).sum())
    open_s = calendar.running_seconds(instant(int(at[0])), instant(int(at[-1])))
    if open_s < 7_200 or busy_s <= 0:
        return 1.0
    return float(np.clip(busy_s / open_s, 0.2, 1.3))


def _stays(view: ShopView) -> list[Stay]:
    by_station: dict[int, list[int]] = defaultdict(list)
    for index, row in enumerate(view.rows.stays):
        by_station[row.station_id].append(index)
    found: dict[int, Stay] = {}
    for station_id, indices in by_station.items():
        station = view.rows.stations.get(station_id)
        groups: dict[tuple[int, int], list[int]] = defaultdict(list)
        for index in indices:
            assembly = view.rows.assemblies[view.rows.stays[index].assembly_id]
            groups[assembly.tool_spec_id, assembly.cutting_item_id].append(index)
        for (spec_id, item_id), group in groups.items():
            if station is None:
                stays = [Stay(view.rows.stays[i], 0, 0.0, None, None, 0.8, "") for i in group]
            else:
                stays = _stays_alike(view, station, spec_id, item_id, group)
            found.update(zip(group, stays, strict=True))
    return [found[index] for index in range(len(view.rows.stays))]


def _stays_alike(
    view: ShopView, station: Any, spec_id: int, item_id: int, indices: list[int]
) -> list[Stay]:
    """Stays of one item built to one spec in one station, all at once."""
    output = view.outputs[station.machine_id]
    runs = [r for r in view.rows.runs.get(station.machine_id, []) if r.state != "planned"]
    runs.sort(key=lambda run: run.start_at or 0)
    takes = [view.cutting.per_part(station.id, run.part_id, spec_id, item_id) for run in runs]
    wear_rate = np.array([take.wear if take else 0.0 for take in takes])
    minutes = np.array([(take.engaged_min or 0.0) if take else 0.0 for take in takes])
    rows = [view.rows.stays[index] for index in indices]
    now_us = us_of(view.now)
    begin = np.array([row.begin_us for row in rows], dtype=np.int64)
    end = np.array(
        [now_us if row.end_us is None else row.end_us for row in rows], dtype=np.int64
    )
    wear = output.used(wear_rate, begin, end)
    engaged = output.used(minutes, begin, end)
    parts = output.total_at(end) - output.total_at(begin)
    # every stay of the group has the key of the run that is (or was last) using the station
    begins, ends = run_windows(runs, now_us)
    stays = []
    for position, row in enumerate(rows):
        key, spread, basis, timed = None, 0.8, "", False
        for index in range(len(runs) - 1, -1, -1):
            take = takes[index]
            inside = begins[index] < end[position] and ends[index] >= begin[position]
            if take and inside:
                group = view.cutting.material_group(runs[index].part_id)
                key = Key(item_id, group, take.operation_class)
                spread, basis = take.spread, take.basis
                timed = take.engaged_min is not None
                break
        stays.append(
            Stay(
                row,
                int(parts[position]),
                float(wear[position]),
                float(engaged[position]) if timed else None,
                key,
                spread,
                basis,
            )
        )
    return stays


def ending(reason: str | None, flank_wear_tenths_um: int | None, limit_mm: float | None) -> int:
    """What the end of a stay says of the edge's life.

    An edge taken out as planned was still good, unless its measured land says otherwise.
    """
    if reason is None:
        return CENSORED
    said = ENDINGS.get(reason, WORN)
    land_mm = (flank_wear_tenths_um or 0) / 10_000
    if said == CENSORED and reason not in GOES_ON and limit_mm and land_mm >= limit_mm:
        return WORN
    return said
