"""What a machine's hours hold: stretches, closures, the parts that its job makes in them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.clock import instant_from_us
from crib.errors import Invalid
from crib.floor.calendar import HORIZON, ExceptionAhead
from crib.floor.parts_clock import PartsClock, WorkedStretch
from crib.floor.running_share import RunningShare
from crib.outlook.machine_now import MachineNow
from crib.outlook.machine_told import starts_again_s
from crib.outlook.shop_now import ShopNow
from crib.planning.ahead import NEVER_US
from crib.sentence import sentence


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

    Raises:
        Invalid: More hours than a year has.
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
    machine = shop.machines[machine_id]
    calendar, share = machine.calendar, machine.share
    clock = PartsClock(
        calendar.stretches(shop.now, shop.now + HORIZON),
        machine.running[1].cycle_s if machine.running else 1.0,
        share.attended,
        share.unattended,
    )
    most = int(machine.rest.left) if machine.rest else 0
    first = _parts_before(machine, clock, shop.now)
    return MachineTime(
        shop.rows.machines[machine_id].machine,
        calendar.zone,
        until,
        [_of_job(row, clock, first, most) for row in clock.worked(until)],
        calendar.exceptions(shop.now, until),
        share,
        _job(machine, first, clock, shop.now),
    )


def _job(machine: MachineNow, first: int, clock: PartsClock, now: datetime) -> JobAhead | None:
    """The run that is on; ``first`` parts could be made before it goes on."""
    if machine.running is None or machine.rest is None:
        return None
    place, run = machine.running
    made = machine.output.parts_of_run(place)
    if made > run.quantity:
        return JobAhead(run.part, run.quantity, made, None, None)
    left = int(machine.rest.left)
    done_at = clock.finish(first + left) if left else now
    return JobAhead(run.part, run.quantity, made, left, done_at)


def _parts_before(machine: MachineNow, clock: PartsClock, now: datetime) -> int:
    """Parts that a standing machine could make until it is expected to cut again."""
    told, time = machine.told, machine.ahead.time
    if told.stands_since is None:
        return 0
    again_us = time.clock_at(starts_again_s(told, time))
    last = now + HORIZON
    return clock.parts_by(last if again_us == NEVER_US else instant_from_us(again_us))


def _of_job(row: WorkedStretch, clock: PartsClock, first: int, most: int) -> WorkedStretch:
    """The stretch with the parts of the job alone: none before the first or after the last."""
    before = clock.parts_by(row.start_at) - first
    parts = max(min(before + row.parts, most), 0) - min(max(before, 0), most)
    return WorkedStretch(
        row.start_at, row.end_at, row.attended, row.open_min, row.cutting_min, parts
    )
