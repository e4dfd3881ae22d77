"""Steps of the demo's shop: machines cut and wear edges, people do the rest."""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta

from crib.demo import mess
from crib.demo.bench import bench_step
from crib.demo.first_offs import StationTruth
from crib.demo.items import holder_rows
from crib.demo.journal import ChangeRun, Journal, PlanRun
from crib.demo.machines import MACHINES
from crib.demo.operators import changeover_step, operator_step, report_now
from crib.demo.parts import PARTS
from crib.demo.shop import lot_rows
from crib.demo.state import (
    ATTENDED,
    CLOSED,
    TICK,
    Hours,
    Machine,
    Run,
    Shop,
    boxes_of,
    free_holders,
)
from crib.demo.truth import Truth

#: How far ahead runs are planned.
PLANNED_AHEAD = timedelta(days=36)
#: How often a machine reports its counts.
_REPORT_EVERY = timedelta(hours=2)
#: How often a machine stops by itself when an edge fails: broken; worn or chipped with only
#: the load monitor watching; worn or chipped with people watching too.
_FELT_BROKEN, _FELT_ALONE, _FELT_WORN = 0.9, 0.75, 0.15
#: Share of its hours that a machine cuts when nothing holds it up.
_CUTS = 0.94


def new_shop(seed: int, first_day: date, begin: datetime) -> Shop:
    """The shop of ``shop_records`` on its first morning, nothing built, nothing planned."""
    draw = random.Random(f"{seed}/shop")
    free = free_holders(holder_rows(draw))
    stock = boxes_of(lot_rows(draw, first_day))
    machines = {mark: Machine(mark, []) for mark in MACHINES}
    shop = Shop(
        begin,
        random.Random(f"{seed}/days"),
        Truth(seed),
        StationTruth(seed),
        stock,
        Journal(),
        machines,
        free,
        Hours(first_day),
    )
    for machine in machines.values():
        plan_ahead(shop, machine)
    return shop


def step(shop: Shop) -> None:
    """One step of the whole shop; its entries wait in the journal."""
    local = shop.hours.local(shop.at)
    for place, machine in enumerate(shop.machines.values()):
        kind = shop.hours.kind(machine.calendar, local)
        machine.lost_s = 0.0
        if kind == ATTENDED:
            _minded(shop, machine, local)
        if kind != CLOSED and machine.run.begun:
            _cut(shop, machine, alone=kind != ATTENDED)
        _tell(shop, machine, place, closed=kind == CLOSED)
        plan_ahead(shop, machine)
    bench_step(shop)
    shop.settle()
    mess.stray(shop)
    shop.at += TICK


def _minded(shop: Shop, machine: Machine, local: datetime) -> None:
    if machine.run.begun and machine.made >= machine.run.quantity:
        _end_run(shop, machine)
    if not machine.run.begun:
        changeover_step(shop, machine, local)
        needs = machine.needs()
        if all(machine.tools.get(number) is not None for number in needs):
            _begin_run(shop, machine)
        machine.lost_s = TICK.total_seconds()
        return
    operator_step(shop, machine, local)


def _end_run(shop: Shop, machine: Machine) -> None:
    at = shop.at + timedelta(seconds=15)
    report_now(shop, machine, at - timedelta(seconds=5))
    shop.journal.say(at, ChangeRun(machine.run.number, {"state": "done", "end_at": at}))
    machine.runs.pop(0)
    machine.made = 0.0
    machine.stopped_at = None


def _begin_run(shop: Shop, machine: Machine) -> None:
    at = shop.at + timedelta(seconds=585)
    run = machine.run
    run.begun, run.start_at = True, at
    shop.journal.say(at, ChangeRun(run.number, {"state": "running", "start_at": at}))
    if shop.draw.random() < 0.5:  # a fresh run often starts with a fresh counter
        report_now(shop, machine, at)
        machine.base = int(machine.total)


def plan_ahead(shop: Shop, machine: Machine) -> None:
    """Plan runs until the machine has work for a month."""
    parts = [mark for mark, part in PARTS.items() if part.machine == machine.mark]
    while machine.last_planned_at is None or (
        machine.last_planned_at < shop.at + PLANNED_AHEAD
    ):
        before = machine.runs[-1] if machine.runs else None
        part = parts[0]
        if before is not None:
            part = parts[1 - parts.index(before.part)]
        made = PARTS[part]
        days = shop.draw.uniform(3.5, 6.5)
        quantity = round(days * 86_400 * 0.62 / made.cycle_s / 100) * 100
        start = machine.last_planned_at or shop.at
        shop.runs_planned += 1
        number = shop.runs_planned
        machine.runs.append(Run(number, part, quantity, start))
        machine.last_planned_at = start + timedelta(days=days)
        shop.journal.say(shop.at, PlanRun(number, machine.mark, part, quantity, start))


def _cut(shop: Shop, machine: Machine, *, alone: bool) -> None:
    if machine.stopped_at is not None or machine.made >= machine.run.quantity:
        return
    part = machine.run.part
    pace = _CUTS * shop.draw.uniform(0.97, 1.03)
    if shop.draw.random() < 0.03:  # a bar that jams, chips that are raked out
        pace *= shop.draw.uniform(0.3, 0.8)
    seconds = max(TICK.total_seconds() - machine.lost_s, 0.0) * pace
    parts = min(seconds / PARTS[part].cycle_s, machine.run.quantity - machine.made)
    machine.total += parts
    machine.made += parts
    for number in machine.needs():
        tool = machine.tools[number]
        if tool is None:
            continue
        before = tool.edge.failed
        tool.edge.used += parts * shop.truth.per_part(part, number)
        if tool.edge.failed and not before:
            felt = _FELT_ALONE if alone else _FELT_WORN
            if tool.edge.chipped:
                felt = _FELT_BROKEN if tool.edge.breaks else felt
            if shop.draw.random() < felt:
                machine.stopped_at = shop.at + TICK - timedelta(seconds=20)


def _tell(shop: Shop, machine: Machine, place: int, *, closed: bool) -> None:
    at = shop.at + TICK - timedelta(seconds=3 + place)
    if closed:
        if machine.buffer:
            report_now(shop, machine, at)
        return
    machine.buffer.append((at, machine.count))
    if at - machine.buffer[0][0] >= _REPORT_EVERY - TICK * place / 2:
        report_now(shop, machine, at)
