"""The demo's toolroom: gauge checks, what to build next, building and measuring, stock."""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta

from crib.acts.build_assembly import BuildAssembly
from crib.acts.check_gauge import CheckGauge
from crib.acts.move_stock import MoveStock, Regrind
from crib.acts.preset_tool import PresetTool
from crib.acts.print_label import PrintLabel
from crib.acts.put_in_rack import PutInRack
from crib.acts.tear_down import TearDown
from crib.demo.items import HOLDER_TYPES, ITEMS
from crib.demo.journal import ChangeHolder
from crib.demo.machines import ATTENDANTS, GAUGE
from crib.demo.parts import PARTS, Op
from crib.demo.shop import SCARCE, master_readings
from crib.demo.state import ATTENDED, TICK, Job, Machine, Shop, Tool
from crib.metrology.preset import Reading
from crib.units import TENTHS_UM_PER_MM, TenthsUm

#: What the demo's labels are printed on.
LABELS = "roll-62x29"
#: Where a tool is that goes into no rack.
BENCH = "bench 1"
#: How used up the edge in a machine is, as a share of the habit, when its sister is begun.
_SISTER_FROM = 0.5
#: What the bench finishes in a step comes after all that the machines give up in it, so that
#: the pieces which it takes are the same on record.
_BENCH_FROM = timedelta(seconds=400)
#: What is scanned right after another scan comes so much later.
_A_MOMENT = timedelta(microseconds=1)
#: Half a day before a run ends its successor's tools are begun.
_KIT_AHEAD_H = 14.0


def attendant(local: datetime) -> str:
    """Badge of the person at the bench."""
    return ATTENDANTS[0 if local.hour < 14 else 1]


def bench_step(shop: Shop) -> None:
    """One step of the toolroom's day."""
    local = shop.hours.local(shop.at)
    if shop.hours.kind("toolroom", local) != ATTENDED:
        return
    badge = attendant(local)
    today = local.date().isoformat()
    if shop.last_check != today:
        shop.last_check = today
        _check_gauge(shop, badge)
        _look_at_stock(shop, badge)
        _holders_back(shop)
        _take_up_again(shop, shop.set_aside)
        return
    _queue_work(shop)
    left = TICK / timedelta(minutes=1)
    while shop.jobs and left > 0.5:
        place = next((i for i, job in enumerate(shop.jobs) if job.urgent), 0)
        job = shop.jobs[place]
        spent = min(left, job.minutes)
        job.minutes -= spent
        left -= spent
        if job.minutes <= 0:
            shop.jobs.pop(place)
            share = 1 - left / (TICK / timedelta(minutes=1))
            _finish(shop, job, shop.at + _BENCH_FROM + share * (TICK - _BENCH_FROM), badge)


def _check_gauge(shop: Shop, badge: str) -> None:
    bumped = shop.draw.random() < 0.04
    if bumped:
        off = shop.draw.choice((-90, 85))
        shop.journal.say(
            shop.at + timedelta(minutes=2),
            CheckGauge(
                GAUGE, master_readings(shop.draw, off), by=badge, note="reads off: set again"
            ),
        )
    shop.journal.say(
        shop.at + timedelta(minutes=6),
        CheckGauge(GAUGE, master_readings(shop.draw, 0.0), by=badge),
    )


def _look_at_stock(shop: Shop, badge: str) -> None:
    """The morning's round: dull cutters come back from grinding, new boxes are booked."""
    minutes = 0.0
    for item, boxes in shop.stock.boxes.items():
        for box in boxes:
            for number in box.dull()[:2]:
                if shop.draw.random() < 0.25:
                    box.ground(number)
                    minutes += 0.1
                    shop.journal.say(
                        shop.at + _BENCH_FROM + timedelta(minutes=minutes % 3),
                        Regrind(box.lot, number, by=badge),
                    )
        least, chance = max(ITEMS[item].pack // 2, 3), 0.3
        if not shop.stock.has_edge(item):
            chance = 0.6  # by express
        if item == SCARCE:
            least, chance = 1, 0.15
        if shop.stock.left(item) < least and shop.draw.random() < chance:
            newest = boxes[-1]
            newest.on_hand += ITEMS[item].pack
            minutes += 0.1
            shop.journal.say(
                shop.at + _BENCH_FROM + timedelta(minutes=minutes % 3),
                MoveStock(newest.lot, "receipt", ITEMS[item].pack, by=badge),
            )


def _holders_back(shop: Shop) -> None:
    """Lent and repaired holders come back one by one."""
    for mark in [mark for mark in shop.away if shop.draw.random() < 0.25]:
        shop.journal.say(shop.at + timedelta(minutes=9), ChangeHolder(mark, "good"))
        shop.away.remove(mark)
        shop.free[mark.split("/")[0]].append(mark)


def _take_up_again(shop: Shop, tools: list[Tool]) -> None:
    """Tools that were built and set aside are measured next."""
    for tool in list(tools):
        shop.set_aside.remove(tool)
        shop.jobs.append(Job(tool.spec, tool.holder_type, tool.op, True, 6.0, tool))


def _queue_work(shop: Shop) -> None:
    """Start a sister for every half-used edge, and the kit of the next run."""
    wanted: dict[str, tuple[Job, int]] = {}
    for machine in shop.machines.values():
        for number, op in _wants(shop, machine):
            spec = machine.spec(op)
            urgent = machine.tools.get(number) is None and machine.run.begun
            job, count = wanted.get(
                spec, (Job(spec, machine.holder_type(op), op, False, 0.0), 0)
            )
            job.urgent |= urgent
            wanted[spec] = job, count + 1
    queued = Counter(job.spec for job in shop.jobs)
    for spec, (job, count) in wanted.items():
        short = count - len(shop.rack(spec)) - queued[spec]
        if job.urgent:
            _take_up_again(shop, [tool for tool in shop.set_aside if tool.spec == spec])
            for waiting in shop.jobs:
                waiting.urgent |= waiting.spec == spec
        for _ in range(short):
            if not shop.can_build(job.op, job.holder_type):
                break
            turning = ITEMS[job.op.item].kind == "insert"
            shop.jobs.append(
                Job(spec, job.holder_type, job.op, job.urgent, 9.0 if turning else 12.0)
            )


def _wants(shop: Shop, machine: Machine) -> list[tuple[int, Op]]:
    """Stations, by tool number, that should have a tool ready."""
    found = []
    for number, op in machine.needs().items():
        tool = machine.tools.get(number)
        habit = shop.habit(machine.spec(op))
        if tool is None or tool.edge.used > _SISTER_FROM * habit:
            found.append((number, op))
    if len(machine.runs) > 1 and _hours_left(machine) < _KIT_AHEAD_H:
        here = {machine.spec(op) for op in machine.needs().values()}
        found += [
            (op.tool, op)
            for op in PARTS[machine.runs[1].part].ops
            if machine.spec(op) not in here
        ]
    return found


def _hours_left(machine: Machine) -> float:
    parts = machine.run.quantity - machine.made
    return parts * PARTS[machine.run.part].cycle_s / 3600


def _finish(shop: Shop, job: Job, at: datetime, badge: str) -> None:
    tool = job.tool
    if tool is None:
        tool = shop.build(job.op, job.spec, job.holder_type)
        if tool is None:
            return  # nothing to build with; it is asked for again at the next step
        shop.journal.say(
            at - timedelta(seconds=12),
            BuildAssembly(tool.spec, tool.holder, tool.take.box.lot, by=badge),
        )
        if not job.urgent and shop.draw.random() < 0.1:
            # called away before measuring it; it waits until somebody looks again
            leave_on_bench(shop, tool, at - timedelta(seconds=12), badge)
            return
        shop.rack(tool.spec).append(tool)
    if tool in shop.rack(tool.spec):
        measure(shop, tool, at - timedelta(seconds=6), badge)


def measure(shop: Shop, tool: Tool, at: datetime, badge: str, *, smooth: bool = False) -> None:
    """Three looks at a tool; one that sits badly is seated and measured again.

    Args:
        shop: The shop.
        tool: The tool.
        at: When.
        badge: Who measures.
        smooth: Whether nothing goes wrong.
    """
    if not smooth and shop.draw.random() < 0.04:
        bad = _readings(shop, tool, off=shop.draw.choice((-18_000, 21_000)))
        shop.journal.say(
            at, PresetTool(tool.holder, bad, GAUGE, by=badge, note="chip under the seat")
        )
        at += timedelta(seconds=2)
    elif not smooth and shop.draw.random() < 0.02:
        shop.journal.say(at, PresetTool(tool.holder, _readings(shop, tool), GAUGE, by=badge))
        at += timedelta(seconds=2)
    shop.journal.say(at, PresetTool(tool.holder, _readings(shop, tool), GAUGE, by=badge))
    _label_and_rack(shop, tool, at, badge)
    shop.drying.append(tool)


def _label_and_rack(shop: Shop, tool: Tool, at: datetime, badge: str) -> None:
    """The label goes on, then the tool goes into a rack."""
    at += _A_MOMENT
    shop.journal.say(at, PrintLabel(tool.holder, LABELS, by=badge))
    _rack(shop, tool, at + _A_MOMENT, badge)


def _rack(shop: Shop, tool: Tool, at: datetime, badge: str) -> None:
    """Scan a tool into the rack of the first machine that uses its kind now, else next.

    One that nothing ahead uses stays on the bench.
    """
    machines = shop.machines.values()
    used = [(one, [one.spec(op) for op in one.needs().values()]) for one in machines]
    used += [
        (one, [one.spec(op) for op in PARTS[one.runs[1].part].ops])
        for one in machines
        if len(one.runs) > 1
    ]
    found = next((one.mark for one, specs in used if tool.spec in specs), None)
    place = f"place {shop.free_place(found, tool)}" if found else BENCH
    shop.journal.say(at, PutInRack(tool.holder, found, place, by=badge))


def leave_on_bench(shop: Shop, tool: Tool, at: datetime, badge: str) -> None:
    """A tool that is built waits on the bench to be measured."""
    shop.rack(tool.spec).append(tool)
    shop.set_aside.append(tool)
    shop.journal.say(at + _A_MOMENT, PutInRack(tool.holder, place=BENCH, by=badge))


def _readings(shop: Shop, tool: Tool, off: int = 0) -> list[Reading]:
    kind = HOLDER_TYPES[tool.holder_type]
    insert = ITEMS[tool.op.item].kind == "insert"
    draw = shop.draw
    lf = kind.reach_mm * TENTHS_UM_PER_MM + off
    lf += draw.gauss(0, 350) if insert else 220_000 + draw.gauss(0, 1_800)
    wf = (
        None if kind.width_mm is None else kind.width_mm * TENTHS_UM_PER_MM + draw.gauss(0, 250)
    )
    return [
        Reading(
            TenthsUm(round(lf + draw.gauss(0, 12))),
            None if wf is None else TenthsUm(round(wf + draw.gauss(0, 12))),
        )
        for _ in range(3)
    ]


def put_away(shop: Shop, tool: Tool, at: datetime, badge: str) -> None:
    """A tool came out at a job change: good ones wait in the rack, others are taken apart."""
    if tool.edge.used < 0.5 * shop.habit(tool.spec):
        shop.shelved.append(tool)
        _rack(shop, tool, at, badge)
        return
    shop.journal.say(at, TearDown(tool.holder, "too far gone to wait", by=badge))
    shop.over(tool, broken=False)
