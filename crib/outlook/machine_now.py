"""One machine at an instant: what it made, what it does, what lies ahead of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import NamedTuple

import numpy as np

from crib.clock import instant_from_us
from crib.floor.calendar import WorkCalendar
from crib.floor.path_counters import path_counters
from crib.floor.running_share import RunningShare, learn_running_share
from crib.floor.timeline import us_of
from crib.outlook.machine_told import (
    MachineTold,
    is_silent,
    machine_told,
    silent_paths,
    starts_again_s,
)
from crib.outlook.to_put_right import ToPutRight
from crib.planning.ahead import TimeAhead
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead
from crib.planning.output import NO_RUN, MachineOutput, output_of_runs
from crib.planning.parts_without_run import PartsWithoutRun, parts_without_run
from crib.planning.path_lines import main_path
from crib.planning.rest_of_run import RestOfRun, believed_s, rest_of_run
from crib.planning.runless import runless_total
from crib.store.counts import Counted
from crib.store.readings import NO_READINGS, Readings
from crib.store.shop_records import MachineOfShop, RunOfShop

#: Over which time the running share of a machine is learned.
_LEARN_US = 7 * 24 * 3_600_000_000


class Seen(NamedTuple):
    """What one machine is worked out from.

    Attributes:
        machine: Its record.
        runs: Its runs in order of time, those without a start last.
        readings: Readings of each of its counters, by path; 0 for all of its paths.
        calendar: Its hours.
        time: The time ahead of it.
        now: The instant.
        asked_at: When its agent answered last; None where none is followed.
    """

    machine: MachineOfShop
    runs: Sequence[RunOfShop]
    readings: Mapping[int, Readings]
    calendar: WorkCalendar
    time: TimeAhead
    now: datetime
    asked_at: datetime | None


@dataclass(frozen=True, slots=True)
class MachineNow:
    """One machine at an instant.

    Attributes:
        calendar: Its hours.
        began: Runs that began, in order of time.
        output: What it made.
        of_paths: Output as each path's own counter tells it, where it has some.
        share: Share of its open time that it really cuts.
        silent_since: Its last reading, where it stopped telling.
        told: Whether it cuts or stands, by its counts.
        ahead: Time and work ahead of it.
        runs_ahead: Runs ahead in their order: the one that is on, then those planned.
        running: Place in ``began`` and row of the run that is on; None where none runs.
        rest: What that run still makes, and has made untold.
        without_run: Parts that belong to no run, the latest first.
        to_put_right: What a person has to see to at its counters.
    """

    calendar: WorkCalendar
    began: tuple[RunOfShop, ...]
    output: MachineOutput
    of_paths: Mapping[int, MachineOutput]
    share: RunningShare
    silent_since: datetime | None
    told: MachineTold
    ahead: MachineAhead
    runs_ahead: tuple[RunOfShop, ...]
    running: tuple[int, RunOfShop] | None = None
    rest: RestOfRun | None = None
    without_run: tuple[PartsWithoutRun, ...] = ()
    to_put_right: tuple[ToPutRight, ...] = ()

    @property
    def ahead_parts(self) -> tuple[int, ...]:
        """Part ids of the runs ahead."""
        return tuple(run.part_id for run in self.runs_ahead)


def unknown_machine(
    machine: MachineOfShop, calendar: WorkCalendar, time: TimeAhead
) -> MachineNow:
    """A machine that nothing is known of: without runs, nothing made."""
    return MachineNow(
        calendar=calendar,
        began=(),
        output=output_of_runs(*NO_READINGS, [], ([], [])),
        of_paths={},
        share=RunningShare(),
        silent_since=None,
        told=MachineTold(),
        ahead=MachineAhead(machine.machine, time, plan_segments(time, []), 0.0),
        runs_ahead=(),
    )


def machine_now(
    seen: Seen, output_of: Callable[[Counted, Sequence[RunOfShop], bool], MachineOutput]
) -> MachineNow:
    """Work out what a machine made and what lies ahead of it.

    Args:
        seen: What is known of it.
        output_of: The output as a counter charges it: the counter, the runs that began, and
            whether the machine's record gives the counter's path one of its own.
    """
    machine, now_us = seen.machine, us_of(seen.now)
    began = [run for run in seen.runs if run.state != "planned"]
    began.sort(key=lambda run: run.start_at or 0)
    counted = path_counters(machine.path_counters)
    telling = {path for path in seen.readings if path}

    def output(path: int) -> MachineOutput:
        return output_of(Counted(machine.id, path), began, path in counted)

    paths = {path: output(path) for path in telling.union(counted)}
    main = main_path(counted, telling)
    made = paths[main] if main else output(0)
    without_run = parts_without_run(
        machine.machine,
        max([made, *paths.values()], key=runless_total),
        seen.runs,
        now_us,
    )
    own_us = {path: seen.readings.get(path, NO_READINGS).at_us for path in counted}
    return _planned(
        seen,
        began,
        made,
        paths,
        without_run,
        tuple(silent_paths(machine.machine, own_us, seen.calendar)),
    )


def _planned(
    seen: Seen,
    began: Sequence[RunOfShop],
    output: MachineOutput,
    of_paths: Mapping[int, MachineOutput],
    without_run: tuple[PartsWithoutRun, ...],
    to_put_right: tuple[ToPutRight, ...],
) -> MachineNow:
    """The machine with its runs laid into the time ahead."""
    calendar, time, now = seen.calendar, seen.time, seen.now
    learned = running_share(output, began, calendar, us_of(now))
    share = learned.both
    if learned.separate:
        time = time.paced(learned.attended / share, learned.unattended / share)
    running = next(
        (
            (index, run)
            for index, run in enumerate(began)
            if run.state == "running" and (run.start_at or 0) <= us_of(now)
        ),
        None,
    )
    told = machine_told(output, running, calendar, now, seen.asked_at)
    runs_ahead = [run for run in seen.runs if run.state == "planned"]
    if runs_ahead:
        told = replace(told, next_part=runs_ahead[0].part)
    silent_since = None
    if output.at_us.size and is_silent(told.heard_at, calendar, now):
        silent_since = instant_from_us(int(output.at_us[-1]))
    ahead = [
        RunAhead(run.part, float(run.quantity), run.cycle_s / share, run.start_at)
        for run in runs_ahead
    ]
    rest = None
    if running:
        run = running[1]
        lag_s = 0.0 if told.stands_since else _unreported_s(output, calendar, now, learned)
        rest = rest_of_run(run.quantity, told.made, lag_s, run.cycle_s)
        again_s = starts_again_s(told, time)
        start_us = time.clock_at(again_s) if again_s else None
        runs_ahead.insert(0, run)
        ahead.insert(0, RunAhead(run.part, rest.left, run.cycle_s / share, start_us))
    shift = calendar.current_shift(now)
    shift_end_s = time.seconds_at(us_of(shift.end_at)) if shift else 0.0
    return MachineNow(
        calendar=calendar,
        began=tuple(began),
        output=output,
        of_paths=of_paths,
        share=learned,
        silent_since=silent_since,
        told=told,
        ahead=MachineAhead(seen.machine.machine, time, plan_segments(time, ahead), shift_end_s),
        runs_ahead=tuple(runs_ahead),
        running=running,
        rest=rest,
        without_run=without_run,
        to_put_right=to_put_right,
    )


def _unreported_s(
    output: MachineOutput, calendar: WorkCalendar, now: datetime, learned: RunningShare
) -> float:
    """Cutting time since the last reading [s]: parts made in it are not yet reported."""
    if not output.at_us.size:
        return 0.0
    last = instant_from_us(int(output.at_us[-1]))
    quiet_s = calendar.running_seconds(last, now) if last < now else 0.0
    believed = believed_s(quiet_s)
    if not believed:
        return 0.0
    manned_s = calendar.attended_seconds(last, now)
    lag_s = manned_s * learned.attended + (quiet_s - manned_s) * learned.unattended
    return lag_s * (believed / quiet_s)


def running_share(
    output: MachineOutput, runs: Sequence[RunOfShop], calendar: WorkCalendar, now_us: int
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
