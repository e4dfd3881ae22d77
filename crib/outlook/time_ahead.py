"""What a machine's hours hold: stretches, closures, the parts that its job makes in them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.clock import instant_from_us, us_from_instant
from crib.errors import Invalid
from crib.floor.calendar import HORIZON, ExceptionAhead
from crib.floor.parts_clock import PartsClock, WorkedStretch
from crib.floor.running_share import RunningShare
from crib.outlook.machine_told import starts_again_s
from crib.outlook.shop_now import ShopNow
from crib.planning.ahead import NEVER_US
from crib.sentence import sentence
from crib.store.shop_records import RunOfShop


@dataclass(frozen=True, slots=True)
class JobAhead:
    """The job that runs, and when it will be done.

    Attributes:
        part: What is made.
        quantity: Parts ordered.
        made: Parts counted so far.
        left: Parts still to be made, less those not yet reported; None where more than the
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


def time_ahead(shop: ShopNow, machine_id: int, hours: float) -> MachineTime:
    """Lay out a machine's time from now on.

    Args:
        shop: The shop at an instant.
        machine_id: The machine.
        hours: How far to look ahead [h], at most 366 days.
    """
    until = shop.now + timedelta(hours=hours)
    if until - shop.now > HORIZON:
        raise Invalid(
            sentence(
                "A machine's time is laid out over at most {days} days.", days=HORIZON.days
            ),
            errors=[
                {
                    "field": "hours",
                    "detail": sentence("is above {days}", days=HORIZON.days * 24),
                }
            ],
        )
    calendar, share = shop.calendars[machine_id], shop.shares[machine_id]
    run = _running(shop, machine_id)
    clock = PartsClock(
        calendar.stretches(shop.now, shop.now + HORIZON),
        run[1].cycle_s if run else 1.0,
        share.attended,
        share.unattended,
    )
    job = _job(shop, machine_id, run, clock) if run else None
    rows = clock.worked(until)
    most = int(shop.rests[machine_id].left) if run else 0
    first = _parts_before(shop, machine_id, clock)
    return MachineTime(
        shop.rows.machines[machine_id].machine,
        calendar.zone,
        until,
        [_of_job(row, clock, first, most) for row in rows],
        calendar.exceptions(shop.now, until),
        share,
        job,
    )


def _running(shop: ShopNow, machine_id: int) -> tuple[int, RunOfShop] | None:
    """Place and row of the run that is on."""
    begun = [run for run in shop.rows.runs.get(machine_id, ()) if run.state != "planned"]
    begun.sort(key=lambda run: run.start_at or 0)
    now_us = us_from_instant(shop.now)
    for place, run in enumerate(begun):
        if run.state == "running" and (run.start_at or 0) <= now_us:
            return place, run
    return None


def _job(
    shop: ShopNow, machine_id: int, running: tuple[int, RunOfShop], clock: PartsClock
) -> JobAhead:
    place, run = running
    made = shop.outputs[machine_id].parts_of_run(place)
    if made > run.quantity:
        return JobAhead(run.part, run.quantity, made, None, None)
    left = int(shop.rests[machine_id].left)
    first = _parts_before(shop, machine_id, clock)
    done_at = clock.finish(first + left) if left else shop.now
    return JobAhead(run.part, run.quantity, made, left, done_at)


def _parts_before(shop: ShopNow, machine_id: int, clock: PartsClock) -> int:
    """Parts that a standing machine could make until it is expected to cut again."""
    told, time = shop.told[machine_id], shop.ahead[machine_id].time
    if told.stands_since is None:
        return 0
    again_us = time.clock_at(starts_again_s(told, time))
    last = shop.now + HORIZON
    return clock.parts_by(last if again_us == NEVER_US else instant_from_us(again_us))


def _of_job(row: WorkedStretch, clock: PartsClock, first: int, most: int) -> WorkedStretch:
    """The stretch with the parts of the job alone: none before the first or after the last."""
    before = clock.parts_by(row.start_at) - first
    parts = max(min(before + row.parts, most), 0) - min(max(before, 0), most)
    return WorkedStretch(
        row.start_at, row.end_at, row.attended, row.open_min, row.cutting_min, parts
    )
