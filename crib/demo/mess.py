"""What goes wrong in the demo: counts late, twice, absurd, reset; holders lent; chips."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from crib.acts.count_columns import CountReading
from crib.acts.mount_tool import MountTool
from crib.acts.report_counts import ReportCounts
from crib.demo.journal import ChangeHolder
from crib.demo.state import Machine, Shop

#: Chance per step and shop of each slip: about one in a week, the reset one in two.
_WEEKLY = 1 / 1_000


def stray(shop: Shop) -> None:
    """At most one slip in this step; those waiting in ``shop.slips`` come first."""
    if shop.slips:
        if SLIPS[shop.slips[0]](shop):
            shop.slips.pop(0)
        return
    for slip in SLIPS.values():
        if shop.draw.random() < _WEEKLY:
            slip(shop)


def _busy(shop: Shop) -> Machine | None:
    """A running machine that has sent counts which it can send again."""
    running = [
        machine
        for machine in shop.machines.values()
        if machine.run.begun and machine.stopped_at is None and len(machine.buffer) > 2
    ]
    return shop.draw.choice(running) if running else None


def counts_twice(shop: Shop) -> bool:
    """A batch that is sent again, because its answer was lost."""
    machine = _busy(shop)
    if machine is None or machine.silent_until:
        return False
    readings = [CountReading(at, count) for at, count in machine.buffer]
    for seconds in (599.0, 599.5):
        shop.journal.say(
            shop.at + timedelta(seconds=seconds), ReportCounts(machine.mark, readings)
        )
    machine.buffer = []
    return True


def counts_late(shop: Shop) -> bool:
    """A machine has no network for most of a day."""
    machine = _busy(shop)
    if machine is None or machine.silent_until:
        return False
    machine.silent_until = shop.at + timedelta(hours=shop.draw.uniform(6, 16))
    return True


def count_absurd(shop: Shop) -> bool:
    """A reading that no machine could have reached."""
    machine = _busy(shop)
    if machine is None or machine.silent_until:
        return False
    at = shop.at + timedelta(seconds=512)
    wrong = [CountReading(at, machine.count + shop.draw.randint(3_000, 40_000))]
    shop.journal.say(at, ReportCounts(machine.mark, wrong))
    return True


def counter_reset(shop: Shop) -> bool:
    """Somebody presses the wrong key, and the counter begins again."""
    machine = _busy(shop)
    if machine is None or machine.silent_until or machine.count < 500:
        return False
    machine.base = int(machine.total)
    return True


def holder_lent(shop: Shop) -> bool:
    """A holder goes to another shop, to repair, or comes back."""
    local = shop.hours.local(shop.at)
    away = [mark for mark in shop.away if shop.draw.random() < 0.5]
    at = shop.at + timedelta(seconds=333)
    if away:
        mark = away[0]
        shop.journal.say(at, ChangeHolder(mark, "good"))
        shop.away.remove(mark)
        shop.free[mark.split("/")[0]].append(mark)
        return True
    kinds = [kind for kind, marks in shop.free.items() if len(marks) > 2]
    if not kinds or not 6 <= local.hour < 22:
        return False
    kind = shop.draw.choice(kinds)
    mark = shop.free[kind].pop()
    shop.away.append(mark)
    shop.journal.say(at, ChangeHolder(mark, shop.draw.choice(("lent", "repair"))))
    return True


def wrong_scan(shop: Shop) -> bool:
    """The right tool before the wrong station: refused at once, nothing recorded."""
    for machine in shop.machines.values():
        for number, op in machine.needs().items():
            rack = shop.rack(machine.spec(op))
            if rack and machine.run.begun:
                other = machine.station(27 if number != 27 else 1)
                badge = machine.operator(shop.hours.local(shop.at))
                shop.journal.say(
                    shop.at + timedelta(seconds=590),
                    MountTool(other, rack[0].holder, by=badge),
                    refused=True,
                )
                return True
    return False


def edge_chipped(shop: Shop) -> bool:
    """An edge meets a hard spot in the bar and chips while somebody is there."""
    machine = _busy(shop)
    if machine is None or not 6 <= shop.hours.local(shop.at).hour < 20:
        return False
    worn = [
        tool
        for number, tool in machine.tools.items()
        if tool is not None and number in machine.needs() and tool.edge.used > 0
    ]
    if not worn:
        return False
    edge = shop.draw.choice(worn).edge
    edge.chips_at = min(edge.chips_at, edge.used)
    return True


SLIPS: dict[str, Callable[[Shop], bool]] = {
    "counts twice": counts_twice,
    "counts late": counts_late,
    "count absurd": count_absurd,
    "counter reset": counter_reset,
    "holder lent": holder_lent,
    "wrong scan": wrong_scan,
    "edge chipped": edge_chipped,
}
