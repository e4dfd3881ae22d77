"""What a machine's hours hold: stretches, closures, the parts that its job makes in them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.clock import instant_from_us, us_from_instant
from crib.errors import Invalid
from crib.floor.calendar import HORIZON, ExceptionAhead
from crib.floor.parts_clock import PartsClock, WorkedStretch
from crib.floor.running_share import RunningShare
from crib.planning.ahead import NEVER_US
from crib.store.shop_records import RunOfShop
from crib.usecases.machine_told import starts_again_s
from crib.usecases.shop_view import ShopView


@dataclass(frozen=True, slots=True)
class JobAhead:
    """The job that runs, and when it will be done.

    Attributes:
        part: What is made.
        quantity: Parts ordered.
        made: Parts counted so far.
        left: Parts still to be made, those not told yet taken off; None where more than the
            quantity is made and the machine goes on.
        done_at: When the last one is made; None where not within a year.
    """

    part: str
    quantity: int
    made: int
    left: int | None
    done_at: datetime | None


@dataclass(frozen=True, slots=True)
class MachineTime:
    """A machine's time from now to an instant.

    Attributes:
        machine: Its name.
        time_zone: Zone of its calendar.
        until: End of the look ahead.
        stretches: Open stretches, with the parts of the running job made in each; 0 without.
        exceptions: Closed times and extra shifts that touch the time.
        share: What it really cuts of its open time.
        job: The running job, if any.
    """

    machine: str
    time_zone: str
    until: datetime
    stretches: list[WorkedStretch]
    exceptions: list[ExceptionAhead]
    share: RunningShare
    job: JobAhead | None


def time_ahead(view: ShopView, machine_id: int, hours: float) -> MachineTime:
    """Lay out a machine's time from the view's instant on.

    Args:
        view: The shop at an instant.
        machine_id: The machine.
        hours: How far to look ahead [h], at most 366 days.
    """
    until = view.now + timedelta(hours=hours)
    if until - view.now > HORIZON:
        raise Invalid(
            f"A machine's time is laid out over at most {HORIZON.days} days.",
            errors=[{"field": "hours", "detail": f"is above {HORIZON.days * 24}"}],
        )
    calendar, share = view.calendars[machine_id], view.shares[machine_id]
    run = _running(view, machine_id)
    clock = PartsClock(
        calendar.stretches(view.now, view.now + HORIZON),
        run[1].cycle_s if run else 1.0,
        share.attended,
        share.unattended,
    )
    job = _job(view, machine_id, run, clock) if run else None
    rows = clock.worked(until)
    most = int(view.rests[machine_id].left) if run else 0
    first = _parts_before(view, machine_id, clock)
    return MachineTime(
        view.rows.machines[machine_id].machine,
        calendar.zone,
        until,
        [_of_job(row, clock, first, most) for row in rows],
        calendar.exceptions(view.now, until),
        share,
        job,
    )


def _running(view: ShopView, machine_id: int) -> tuple[int, RunOfShop] | None:
    """Place and row of the run that is on."""
    begun = [run for run in view.rows.runs.get(machine_id, []) if run.state != "planned"]
    begun.sort(key=lambda run: run.start_at or 0)
    now_us = us_from_instant(view.now)
    for place, run in enumerate(begun):
        if run.state == "running" and (run.start_at or 0) <= now_us:
            return place, run
    return None


def _job(
    view: ShopView, machine_id: int, running: tuple[int, RunOfShop], clock: PartsClock
) -> JobAhead:
    place, run = running
    made = view.outputs[machine_id].parts_of_run(place)
    if made > run.quantity:
        return JobAhead(run.part, run.quantity, made, None, None)
    left = int(view.rests[machine_id].left)
    first = _parts_before(view, machine_id, clock)
    done_at = clock.finish(first + left) if left else view.now
    return JobAhead(run.part, run.quantity, made, left, done_at)


def _parts_before(view: ShopView, machine_id: int, clock: PartsClock) -> int:
    """Parts that a standing machine could make until it is expected to cut again."""
    told, time = view.told[machine_id], view.ahead[machine_id].time
    if told.stands_since is None:
        return 0
    again_us = time.clock_at(starts_again_s(told, time))
    last = view.now + HORIZON
    return clock.parts_by(last if again_us == NEVER_US else instant_from_us(again_us))


def _of_job(row: WorkedStretch, clock: PartsClock, first: int, most: int) -> WorkedStretch:
    """The stretch with the parts of the job alone: none before the first or after the last."""
    before = clock.parts_by(row.start_at) - first
    parts = max(min(before + row.parts, most), 0) - min(max(before, 0), most)
    return WorkedStretch(
        row.start_at, row.end_at, row.attended, row.open_min, row.cutting_min, parts
    )
