"""The demo's operators: they notice, measure, step offsets, swap, and change over."""

from __future__ import annotations

from datetime import datetime, timedelta

from crib.acts.correct_offset import CorrectOffset
from crib.acts.count_columns import CountReading
from crib.acts.mount_tool import MountTool
from crib.acts.remove_tool import RemoveTool
from crib.acts.report_counts import ReportCounts
from crib.acts.report_stop import ReportStop
from crib.demo.bench import put_away
from crib.demo.first_offs import SCATTER_UM, FirstOff
from crib.demo.machines import MACHINES
from crib.demo.parts import PARTS, wear_limit_mm
from crib.demo.state import TICK, Machine, Shop, Tool
from crib.metrology.offset import keyed_tenths_um
from crib.units import TENTHS_UM_PER_MM

_SWAP_S = 290.0
_LAST_SWAP_S = TICK.total_seconds() - _SWAP_S
#: What the operator lets a diameter drift before stepping the offset [µm].
_DRIFT_UM = 6.0
#: What runs from the last look in the evening to the first in the morning [s].
_NIGHT_S = 9 * 3_600
_SATURDAY = 5
_CLEARANCE_TAN = 0.12278  # tangent of 7 degrees


def operator_step(shop: Shop, machine: Machine, local: datetime) -> None:
    """One step of a machine's operator."""
    badge = machine.operator(local)
    for number, tool in list(machine.tools.items()):
        if machine.lost_s >= _LAST_SWAP_S:
            break
        if number not in machine.needs():
            continue
        reason = _reason_to_swap(shop, machine, tool, local)
        if tool is None:
            _fill(shop, machine, number, badge)
        elif reason:
            _swap(shop, machine, number, tool, reason, badge)
    if machine.stopped_at and all(
        tool is not None and not tool.edge.failed
        for number, tool in machine.tools.items()
        if number in machine.needs()
    ):
        _run_on(shop, machine, badge)
    if machine.lost_s == 0 and machine.stopped_at is None:
        for number, tool in machine.tools.items():
            if tool is not None:
                _check_size(shop, machine, number, tool, badge)


def _reason_to_swap(
    shop: Shop, machine: Machine, tool: Tool | None, local: datetime
) -> str | None:
    if tool is None:
        return None
    edge = tool.edge
    if edge.failed:
        seen = machine.stopped_at is not None or shop.draw.random() < 0.35
        return _why_failed(shop, tool) if seen else None
    if not any(one.measured for one in shop.rack(tool.spec)):
        return None
    habit = shop.habit(tool.spec)
    chance = 0.12 if edge.used >= habit else 0.0  # people come round to it, sometimes late
    if local.hour >= (11 if local.weekday() == _SATURDAY else 20):
        tonight = _NIGHT_S / PARTS[machine.run.part].cycle_s
        tonight *= shop.truth.per_part(machine.run.part, tool.op.tool)
        if edge.used + tonight > 1.15 * habit and edge.used > 0.25 * habit:
            chance = 0.4
    return "worn_as_planned" if shop.draw.random() < chance else None


def _why_failed(shop: Shop, tool: Tool) -> str:
    if tool.edge.chipped:
        return "broken" if tool.edge.breaks else "chipped"
    if tool.op.kind in ("turn", "bore"):
        return shop.draw.choice(("size", "finish", "worn_early"))
    return shop.draw.choice(("worn_early", "burr", "worn_early"))


def _swap(
    shop: Shop, machine: Machine, number: int, tool: Tool, reason: str, badge: str
) -> None:
    at = shop.at + timedelta(seconds=machine.lost_s + shop.draw.uniform(20, 50))
    land = None
    if reason not in ("broken", "chipped") and shop.draw.random() < 0.4:
        seen = tool.edge.land(wear_limit_mm(tool.op)) + shop.draw.gauss(0, 0.008)
        land = max(round(seen, 2), 0.01)
    report_now(shop, machine, at - timedelta(seconds=5))
    shop.journal.say(
        at,
        RemoveTool(
            reason,
            station=machine.station(number),
            part_count=machine.count,
            flank_wear_tenths_um=None if land is None else round(land * TENTHS_UM_PER_MM),
            by=badge,
        ),
    )
    machine.tools[number] = None
    shop.over(tool, broken=reason == "broken")
    machine.lost_s += _SWAP_S
    sister = shop.ready(tool.spec)
    if sister is None:
        machine.stopped_at = machine.stopped_at or at
        return
    _mount(shop, machine, number, sister, at + timedelta(seconds=150), badge)


def _fill(shop: Shop, machine: Machine, number: int, badge: str) -> None:
    sister = shop.ready(machine.spec(machine.needs()[number]))
    if sister is None:
        return
    at = shop.at + timedelta(seconds=machine.lost_s + shop.draw.uniform(20, 50))
    machine.lost_s += _SWAP_S
    _mount(shop, machine, number, sister, at, badge)


def _mount(
    shop: Shop, machine: Machine, number: int, tool: Tool, at: datetime, badge: str
) -> None:
    station = machine.station(number)
    wrong = machine.station(1 if number != 1 else 2)
    if shop.draw.random() < 0.02:  # the wrong station scanned: refused, and nothing recorded
        shop.journal.say(
            at - timedelta(seconds=30),
            MountTool(wrong, tool.holder, by=badge),
            refused=True,
        )
    count = machine.count if shop.draw.random() < 0.25 else None
    shop.journal.say(at, MountTool(station, tool.holder, part_count=count, by=badge))
    machine.tools[number] = tool
    tool.stepped_um = 0.0
    tool.checked_at = at
    if tool.op.kind in ("turn", "bore"):
        off_um = shop.stations.off_um(station) + shop.draw.gauss(0, SCATTER_UM)
        shop.journal.say(at + timedelta(seconds=70), FirstOff(station, off_um, badge))


def _size_step(
    shop: Shop, machine: Machine, number: int, diameter_um: float, at: datetime, badge: str
) -> float:
    """Key in a step of X; returns the real change of the diameter [µm]."""
    control = MACHINES[machine.mark]
    factor = 1 if control.x_on_diameter else 2
    step = keyed_tenths_um(
        round(diameter_um / factor) * 10, control.unit, 10 if control.unit == "mm" else 25
    )
    if step == 0:
        return 0.0
    command = CorrectOffset(machine.station(number), "X", step, "size", by=badge)
    shop.journal.say(at, command)
    return step * factor / 10


def _check_size(shop: Shop, machine: Machine, number: int, tool: Tool, badge: str) -> None:
    """Measure a part now and then; step the offset once the diameter has drifted."""
    finishing = tool.op.kind == "bore" or wear_limit_mm(tool.op) <= 0.1
    since = shop.at - (tool.checked_at or shop.at)
    if not finishing or since < timedelta(minutes=50) or shop.draw.random() > 0.4:
        return
    tool.checked_at = shop.at
    grown = 2_000 * tool.edge.land(wear_limit_mm(tool.op)) * _CLEARANCE_TAN
    drift = grown + shop.draw.gauss(0, 1.5) + tool.stepped_um
    if drift > _DRIFT_UM:
        at = shop.at + timedelta(seconds=shop.draw.uniform(60, 400))
        tool.stepped_um += _size_step(shop, machine, number, -drift, at, badge)


def _run_on(shop: Shop, machine: Machine, badge: str) -> None:
    """The machine stood; say since when and why, and start it."""
    began = machine.stopped_at
    machine.stopped_at = None
    until = shop.at + timedelta(seconds=min(machine.lost_s + 60, 590))
    if began is None or until - began < timedelta(minutes=15):
        return
    shop.journal.say(
        until,
        ReportStop(machine.mark, "stood with a failed tool", until, at=began, by=badge),
        said_at=until,
    )


def changeover_step(shop: Shop, machine: Machine, local: datetime) -> None:
    """Take out what the next run does not use, put in what it does, two or three a step."""
    badge = machine.operator(local)
    needs = machine.needs()
    at = shop.at + timedelta(seconds=25)
    done = 0
    for number, tool in list(machine.tools.items()):
        keep = number in needs and machine.spec(needs[number]) == (tool.spec if tool else "")
        if tool is None or (keep and not tool.edge.failed) or done >= 3:
            continue
        done += 1
        reason = _why_failed(shop, tool) if tool.edge.failed else "job_change"
        shop.journal.say(
            at,
            RemoveTool(reason, station=machine.station(number), part_count=machine.count,
                       by=badge),
        )  # fmt: skip
        machine.tools[number] = None
        if tool.edge.failed:
            shop.over(tool, broken=reason == "broken")
        else:
            put_away(shop, tool, at + timedelta(seconds=10), badge)
        at += timedelta(seconds=100)
    for number, op in needs.items():
        if machine.tools.get(number) is None and done < 3:
            machine.tools.setdefault(number, None)
            tool = shop.ready(machine.spec(op))
            if tool is not None:
                done += 1
                _mount(shop, machine, number, tool, at + timedelta(seconds=31), badge)
                at += timedelta(seconds=130)


def report_now(shop: Shop, machine: Machine, at: datetime) -> None:
    """Send the waiting readings, unless the machine has no network."""
    if machine.silent_until and at < machine.silent_until:
        return
    machine.silent_until = None
    if machine.buffer:
        readings = [CountReading(when, count) for when, count in machine.buffer]
        machine.buffer = []
        shop.journal.say(at, ReportCounts(machine.mark, readings))
