"""The shop at an instant as the planner sees it: output, stays, keys, work ahead."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from crib.clock import instant_from_us
from crib.errors import NotKnown
from crib.floor.calendar import ALWAYS, WorkCalendar
from crib.floor.closures import closure_from_texts
from crib.floor.path_counters import path_counters
from crib.floor.running_share import RunningShare, learn_running_share
from crib.floor.timeline import us_of
from crib.floor.week import WeekSpan
from crib.left_out import LeftOut, each
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.outlook.implausible import implausible_records
from crib.outlook.kept_output import KeptOutput, line_of_counter
from crib.outlook.machine_told import (
    MachineTold,
    is_silent,
    machine_told,
    silent_paths,
    starts_again_s,
)
from crib.outlook.shop_read import read_whole
from crib.outlook.stays import Stay, output_of_station, work_out_stays
from crib.outlook.to_put_right import ToPutRight
from crib.planning.ahead import TimeAhead, lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead
from crib.planning.output import NO_RUN, MachineOutput, output_of_runs, windows_of
from crib.planning.parts_without_run import PartsWithoutRun, parts_without_run
from crib.planning.path_lines import main_path
from crib.planning.rest_of_run import RestOfRun, believed_s, rest_of_run
from crib.planning.runless import runless_total
from crib.sentence import sentence
from crib.stock.assembly import STAYS_BUILT
from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.feeds import asked_last
from crib.store.machine_rows import StayRow
from crib.store.readings import NO_READINGS
from crib.store.shop_records import (
    CalendarOfShop,
    MachineOfShop,
    RunOfShop,
    SpanOfWeek,
    StationOfShop,
)
from crib.store.shop_rows import ShopRows
from crib.store.wear_rows import CuttingData

#: How far ahead the calendars are laid out.
LOOK_AHEAD = timedelta(days=60)

#: Over which time the running share of a machine is learned.
_LEARN_US = 7 * 24 * 3_600_000_000

#: Calendars of these names are the bench's own hours.
BENCH_CALENDARS = ("bench", "toolroom")

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

#: What a removal says of the edge's life; the rest of the reasons say "worn".
ENDINGS = {
    "worn_as_planned": CENSORED,
    "job_change": CENSORED,
    "inspection": CENSORED,
    "chipped": BROKEN,
    "broken": BROKEN,
}


@dataclass(slots=True)
class ShopNow:
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
        rests: What the running run of a machine still makes, and has made untold, by id.
        estimates: Constants from the shop's own edges, as ``own_constants`` fills them in.
        shares: Share of its open time that each machine really cuts, by id.
        began: Runs that began, in order of time, of each machine by id.
        left_out: What was worked out without, and why.
        unknown: Stays of tools that are left out; ``stays`` and ``rows.stays`` lack them.
        of_paths: Output as each path's own counter tells it, where a machine has some.
        told: What each machine does by its counts, by id.
        asked_at: When the agent of each machine that is followed answered last, by id.
        without_run: Parts of each machine that belong to no run, by id, the latest first.
        to_put_right: What a person has to see to in records and at counters.
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
    rests: dict[int, RestOfRun] = field(default_factory=dict)
    estimates: list[Any] = field(default_factory=list)
    shares: dict[int, RunningShare] = field(default_factory=dict)
    began: dict[int, list[RunOfShop]] = field(default_factory=dict)
    left_out: LeftOut = field(default_factory=LeftOut)
    unknown: list[StayRow] = field(default_factory=list)
    of_paths: dict[Counted, MachineOutput] = field(default_factory=dict)
    told: dict[int, MachineTold] = field(default_factory=dict)
    asked_at: dict[int, datetime] = field(default_factory=dict)
    without_run: dict[int, tuple[PartsWithoutRun, ...]] = field(default_factory=dict)
    to_put_right: list[ToPutRight] = field(default_factory=list)

    def put_right(self, one: ToPutRight) -> None:
        """Take what is to be put right, once."""
        if one not in self.to_put_right:
            self.to_put_right.append(one)

    @property
    def problems(self) -> tuple[str, ...]:
        """What is to be put right, and what was worked out without, in sentences."""
        return (*(one.sentence for one in self.to_put_right), *self.left_out.records)

    def ending(self, row: StayRow) -> int:
        """What the end of a stay says of its edge's life."""
        spec = self.rows.specs[self.rows.assemblies[row.assembly_id].tool_spec_id]
        return ending(row.reason, row.flank_wear_tenths_um, spec.wear_limit_mm)

    def work_out(self, stays: Sequence[StayRow]) -> list[Stay]:
        """What such stays took, or would have taken, of their edges; in their order."""
        rows = replace(self.rows, stays=list(stays))
        now_us = us_of(self.now)
        return work_out_stays(
            rows, self.cutting, self.outputs, self.began, now_us, self.of_paths
        )

    def machine_named(self, text: str) -> str:
        """Name of the machine that a text means, in any case where that is clear.

        Raises:
            NotKnown: There is no such machine.
        """
        names = [str(machine.machine) for machine in self.rows.machines.values()]
        wanted = text.strip()
        if wanted in names:
            return wanted
        alike = [name for name in names if name.casefold() == wanted.casefold()]
        if len(alike) == 1:
            return alike[0]
        raise NotKnown(
            sentence("There is no machine '{wanted}' here.", wanted=wanted[:60]),
            facts={"machine": wanted[:60]},
            errors=[
                {
                    "field": "machine",
                    "parameter": "machine",
                    "detail": sentence("is no machine here"),
                }
            ],
        )

    def charging(self, station: StationOfShop) -> MachineOutput:
        """The output that charges the edges of a station."""
        return output_of_station(station, self.outputs, self.of_paths)


def read_shop(tx: Tx, now: datetime, kept: KeptOutput | None = None) -> ShopNow:
    """Read the shop and work out outputs, stays and plans as of an instant.

    Args:
        tx: An open transaction.
        now: The instant; facts dated later are not seen.
        kept: What the process kept of the counters; all is read where there is nothing.
    """
    return with_tools(view_machines(tx, now, kept))


def view_machines(tx: Tx, now: datetime, kept: KeptOutput | None = None) -> ShopNow:
    """Read the shop and lay out its machines; what their tools took is not worked out yet.

    A machine whose figures cannot be worked out stays in the shop as one without runs, and is
    told in ``left_out``.

    Args:
        tx: An open transaction.
        now: The instant; facts dated later are not seen.
        kept: What the process kept of the counters; all is read where there is nothing.
    """
    rows, cutting, wrong = kept.look(tx, us_of(now)) if kept else read_whole(tx, us_of(now))
    shop = ShopNow(now, rows, cutting, {}, [], {}, {}, {}, {})
    shop.asked_at = asked_last(tx)
    shop.left_out = implausible_records(wrong, rows, cutting)
    times: dict[int, TimeAhead] = {}
    built = _calendars(shop, times)
    told: dict[int, set[int]] = defaultdict(set)
    for counter in rows.readings:
        if counter.path:
            told[counter.machine_id].add(counter.path)

    def lay(machine: MachineOfShop) -> None:
        if machine.id not in shop.left_out.machines:
            shop.calendars[machine.id] = built.get(machine.calendar_id or 0, ALWAYS)
            _machine_in_view(shop, machine.id, times, kept, told.get(machine.id, set()))

    def failed(machine: MachineOfShop) -> str:
        shop.left_out.machines[machine.id] = text = sentence(
            "The figures of machine {machine} could not be worked out. Check its "
            "calendar, its runs and their parts; the service's log names the fault.",
            machine=machine.machine,
        )
        return text

    each(rows.machines.values(), lay, failed)
    for machine_id in shop.left_out.machines:
        _stand_in(shop, machine_id, times)
    # in the order of the machines, whoever was laid out first
    shop.ahead = {machine_id: shop.ahead[machine_id] for machine_id in rows.machines}
    return shop


def with_tools(shop: ShopNow, only: frozenset[int] | None = None) -> ShopNow:
    """The shop with the stays of its tools worked out, but for those left out.

    Args:
        shop: The machines; not changed.
        only: Assemblies to work out, all others are unknown too; None for all.
    """
    lost = {
        row.assembly_id
        for row in shop.rows.stays
        if (station := shop.rows.stations.get(row.station_id)) is not None
        and station.machine_id in shop.left_out.machines
    } | shop.left_out.tools.keys()
    known: list[StayRow] = []
    unknown: list[StayRow] = []
    for row in shop.rows.stays:
        wanted = row.assembly_id not in lost and (only is None or row.assembly_id in only)
        (known if wanted else unknown).append(row)
    found = replace(
        shop,
        rows=replace(shop.rows, stays=known),
        unknown=unknown,
        estimates=[],
    )
    found.stays = found.work_out(known)
    return found


def _machine_in_view(
    shop: ShopNow,
    machine_id: int,
    times: dict[int, TimeAhead],
    kept: KeptOutput | None,
    told: set[int],
) -> None:
    """Work out what a machine made and what lies ahead of it."""
    rows, now_us = shop.rows, us_of(shop.now)
    runs = [run for run in rows.runs.get(machine_id, ()) if run.state != "planned"]
    runs.sort(key=lambda run: run.start_at or 0)
    shop.began[machine_id] = runs
    counted = path_counters(rows.machines[machine_id].path_counters)

    def output(counter: Counted) -> MachineOutput:
        has = counter.path in counted
        if kept:
            return kept.output(counter, rows.readings, runs, now_us, counted=has)
        line = line_of_counter(rows.readings, counter, counted=has)
        return output_of_runs(*line, [run.id for run in runs], windows_of(runs, now_us))

    paths = {path: output(Counted(machine_id, path)) for path in told.union(counted)}
    shop.of_paths.update((Counted(machine_id, path), one) for path, one in paths.items())
    main = main_path(counted, told)
    shop.outputs[machine_id] = paths[main] if main else output(Counted(machine_id))
    shop.without_run[machine_id] = parts_without_run(
        rows.machines[machine_id].machine,
        max([shop.outputs[machine_id], *paths.values()], key=runless_total),
        rows.runs.get(machine_id, ()),
        now_us,
    )
    _plan_machine(shop, machine_id, _time_of(shop, machine_id, times), runs)
    own_us = {
        path: rows.readings.get(Counted(machine_id, path), NO_READINGS).at_us
        for path in counted
    }
    name = rows.machines[machine_id].machine
    shop.to_put_right += silent_paths(name, own_us, shop.calendars[machine_id])


def _time_of(shop: ShopNow, machine_id: int, times: dict[int, TimeAhead]) -> TimeAhead:
    calendar = shop.calendars[machine_id]
    if id(calendar) not in times:
        times[id(calendar)] = lay_out(calendar, shop.now, shop.now + LOOK_AHEAD)
    return times[id(calendar)]


def _stand_in(shop: ShopNow, machine_id: int, times: dict[int, TimeAhead]) -> None:
    """A machine that nothing is known of: open, without runs, nothing made."""
    shop.calendars.setdefault(machine_id, ALWAYS)
    shop.began[machine_id] = []
    for counter in [one for one in shop.of_paths if one.machine_id == machine_id]:
        del shop.of_paths[counter]
    shop.outputs[machine_id] = output_of_runs(*NO_READINGS, [], ([], []))
    shop.shares[machine_id] = RunningShare()
    shop.silent_since[machine_id] = None
    shop.told[machine_id] = MachineTold()
    shop.rests.pop(machine_id, None)
    shop.without_run.pop(machine_id, None)
    time = _time_of(shop, machine_id, times)
    name = shop.rows.machines[machine_id].machine
    shop.ahead[machine_id] = MachineAhead(name, time, plan_segments(time, []), 0.0)
    shop.ahead_parts[machine_id] = []


def _calendars(shop: ShopNow, times: dict[int, TimeAhead]) -> dict[int, WorkCalendar]:
    """Every calendar that says anything; one that only says when it is closed is open else.

    A machine whose calendar cannot be read is left out with it.
    """
    rows, built = shop.rows, {}
    named = {one.time_zone for one in rows.calendars.values() if one.time_zone}
    usual = named.pop() if len(named) == 1 else "UTC"

    def build(calendar: CalendarOfShop) -> None:
        if calendar.id not in rows.spans and calendar.id not in rows.closures:
            return
        made = WorkCalendar(
            tuple(_week_span(span) for span in rows.spans.get(calendar.id, ())) or ALWAYS.spans,
            calendar.time_zone or usual,
            tuple(
                closure_from_texts(
                    row.start_local,
                    row.end_local,
                    row.kind,
                    None if row.attended is None else bool(row.attended),
                    row.reason,
                )
                for row in rows.closures.get(calendar.id, ())
            ),
        )
        times[id(made)] = lay_out(made, shop.now, shop.now + LOOK_AHEAD)
        built[calendar.id] = made
        if calendar.calendar.lower() in BENCH_CALENDARS:
            shop.bench = made

    def failed(calendar: CalendarOfShop) -> str:
        text = sentence(
            "The hours of calendar {calendar} could not be worked out. Check its "
            "time zone, its rows and its closures.",
            calendar=calendar.calendar,
        )
        for machine in rows.machines.values():
            if machine.calendar_id == calendar.id:
                shop.left_out.machines[machine.id] = text
        return text

    shop.left_out.others += each(rows.calendars.values(), build, failed)
    return built


def _week_span(span: SpanOfWeek) -> WeekSpan:
    end = span.end_minute
    return WeekSpan(
        _WEEKDAYS.index(span.weekday),
        span.start_minute,
        end if end > span.start_minute else end + 1440,
        bool(span.attended),
    )


def _plan_machine(
    shop: ShopNow, machine_id: int, time: TimeAhead, runs: list[RunOfShop]
) -> None:
    now_us = us_of(shop.now)
    output, calendar = shop.outputs[machine_id], shop.calendars[machine_id]
    learned = running_share(output, runs, calendar, now_us)
    shop.shares[machine_id] = learned
    share = learned.both
    if learned.separate:
        time = time.paced(learned.attended / share, learned.unattended / share)
    shop.silent_since[machine_id] = None
    lag_s = 0.0  # cutting time since the last reading
    if output.at_us.size:
        last = instant_from_us(int(output.at_us[-1]))
        quiet_s = calendar.running_seconds(last, shop.now) if last < shop.now else 0.0
        believed = believed_s(quiet_s)
        if believed:
            # parts made since the last reading are still to be told
            manned_s = calendar.attended_seconds(last, shop.now)
            lag_s = manned_s * learned.attended + (quiet_s - manned_s) * learned.unattended
            lag_s *= believed / quiet_s
    ahead: list[RunAhead] = []
    parts: list[int] = []
    running = next(
        (
            (index, run)
            for index, run in enumerate(runs)
            if run.state == "running" and (run.start_at or 0) <= now_us
        ),
        None,
    )
    asked_at = shop.asked_at.get(machine_id)
    told = machine_told(output, running, calendar, shop.now, asked_at)
    shop.told[machine_id] = told
    if output.at_us.size and is_silent(told.heard_at, calendar, shop.now):
        shop.silent_since[machine_id] = instant_from_us(int(output.at_us[-1]))
    if running:
        run = running[1]
        if told.stands_since:
            lag_s = 0.0
        rest = rest_of_run(run.quantity, told.made, lag_s, run.cycle_s)
        shop.rests[machine_id] = rest
        again_s = starts_again_s(told, time)
        start_us = time.clock_at(again_s) if again_s else None
        ahead.append(RunAhead(run.part, rest.left, run.cycle_s / share, start_us))
        parts.append(run.part_id)
    for run in shop.rows.runs.get(machine_id, ()):
        if run.state == "planned":
            ahead.append(
                RunAhead(run.part, float(run.quantity), run.cycle_s / share, run.start_at)
            )
            parts.append(run.part_id)
    shift = calendar.current_shift(shop.now)
    shift_end_s = time.seconds_at(us_of(shift.end_at)) if shift else 0.0
    shop.ahead[machine_id] = MachineAhead(
        shop.rows.machines[machine_id].machine, time, plan_segments(time, ahead), shift_end_s
    )
    shop.ahead_parts[machine_id] = parts


def running_share(
    output: MachineOutput, runs: list[RunOfShop], calendar: WorkCalendar, now_us: int
) -> RunningShare:
    """Share of the calendar's time that the machine really cuts, from its last week."""
    recent = slice(int(np.searchsorted(output.at_us, now_us - _LEARN_US)), None)
    if output.at_us[recent].size < 2:
        return RunningShare()
    at, total, run = output.at_us[recent], output.total[recent], output.run[recent]
    cycles = np.array([run.cycle_s for run in runs] + [0.0])[run]
    told = run[1:] != NO_RUN  # time in which nothing was to be made says nothing
    attended, unattended = calendar.open_between(at)
    busy_s = np.diff(total) * cycles[1:]
    return learn_running_share(attended[told], unattended[told], busy_s[told])


def ending(reason: str | None, flank_wear_tenths_um: int | None, limit_mm: float | None) -> int:
    """What the end of a stay says of the edge's life.

    An edge taken out as planned was still good, unless its measured land says otherwise.
    """
    if reason is None:
        return CENSORED
    said = ENDINGS.get(reason, WORN)
    land_mm = (flank_wear_tenths_um or 0) / 10_000
    if said == CENSORED and reason not in STAYS_BUILT and limit_mm and land_mm >= limit_mm:
        return WORN
    return said
