"""The changeovers ahead: planned runs of machines in service, and when each is expected."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.left_out import Kept, each
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.vacancies import runs_by_need
from crib.sentence import sentence
from crib.store.shop_records import RunOfShop


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


def changeovers_ahead(plan: ShopPlan, machine: str | None = None) -> Kept[Changeover]:
    """Every planned run, the next one first, those without an expected instant last.

    A run of which that instant cannot be worked out is among these, and is named in
    ``problems``.

    Args:
        plan: The shop's plan.
        machine: Only those of this machine.
    """
    shop = plan.shop
    found: Kept[Changeover] = Kept()

    def add(planned: tuple[int, RunOfShop], at: datetime | None) -> None:
        machine_id, run = planned
        name = shop.rows.machines[machine_id].machine
        found.append(Changeover(run.id, name, run.part, run.quantity, at))

    def failed(planned: tuple[int, RunOfShop]) -> str:
        machine_id, run = planned
        add(planned, None)
        return sentence(
            "When machine {machine} gets to its run of {part} could not be worked "
            "out. Check the run and the hours of the machine. The service log has "
            "the details.",
            machine=shop.rows.machines[machine_id].machine,
            part=run.part,
        )

    planned = [
        (machine_id, run)
        for machine_id, runs in shop.rows.runs.items()
        if machine_id in shop.rows.machines
        and machine in (None, shop.rows.machines[machine_id].machine)
        for run in runs
        if run.state == "planned"
    ]
    found.problems = tuple(
        each(planned, lambda one: add(one, start_of_run(plan, one[1].id, one[0])), failed)
    )
    last = datetime.max.replace(tzinfo=shop.now.tzinfo)
    found.sort(key=lambda one: (one.at or last, one.machine, one.run_id))
    return found


def start_of_run(plan: ShopPlan, run_id: int, machine_id: int) -> datetime | None:
    """When a machine is expected to get to a planned run: where its segment begins.

    Args:
        plan: The shop's plan.
        run_id: A planned run.
        machine_id: Its machine.
    """
    return {run.id: at for run, _, at in runs_by_need(plan.shop, machine_id)}[run_id]
