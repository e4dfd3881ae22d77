"""The changeovers ahead: planned runs of machines in service, and when each is expected."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.clock import instant_from_us
from crib.planning.ahead import NEVER_US
from crib.usecases.forecast import ShopPlan


@dataclass(frozen=True, slots=True)
class Changeover:
    """A planned run.

    Attributes:
        run_id: The run.
        machine: Its machine.
        part: Its part.
        quantity: Parts to make.
        at: When the machine is expected to get to it; None where that is not foreseen, since
            it lies beyond the calendar or what runs before it has no end that is known.
    """

    run_id: int
    machine: str
    part: str
    quantity: int
    at: datetime | None


def changeovers_ahead(plan: ShopPlan) -> list[Changeover]:
    """Every planned run, the next one first, those without an expected instant last.

    Args:
        plan: The shop's plan.
    """
    view = plan.view
    found = [
        Changeover(
            run.id,
            view.rows.machines[machine_id].machine,
            run.part,
            run.quantity,
            start_of_run(plan, run.id, machine_id),
        )
        for machine_id, runs in view.rows.runs.items()
        if machine_id in view.rows.machines
        for run in runs
        if run.state == "planned"
    ]
    last = datetime.max.replace(tzinfo=view.now.tzinfo)
    return sorted(found, key=lambda one: (one.at or last, one.machine, one.run_id))


def start_of_run(plan: ShopPlan, run_id: int, machine_id: int) -> datetime | None:
    """When a machine is expected to get to a planned run: where its segment begins.

    Args:
        plan: The shop's plan.
        run_id: A planned run.
        machine_id: Its machine.
    """
    view = plan.view
    ahead = view.ahead[machine_id]
    planned = [row.id for row in view.rows.runs[machine_id] if row.state == "planned"]
    running = len(view.ahead_parts[machine_id]) - len(planned)
    number = running + planned.index(run_id)
    segments = ahead.segments
    for segment, run in enumerate(segments.run):
        if run == number:
            begin_s = float(segments.end_s[segment - 1]) if segment else 0.0
            at_us = int(ahead.time.clock_us(begin_s))
            return None if at_us == NEVER_US else instant_from_us(at_us)
    return None
