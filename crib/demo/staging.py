"""The last hour of the history: makes sure that the list shows one swap of each kind.

Most of what a newcomer should see is there already. People of the shop do the rest as usual:
they build a tool and leave it for the gauge, or count a box and find it empty.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from crib.acts.build_assembly import BuildAssembly
from crib.acts.check_gauge import CheckGauge
from crib.acts.move_stock import MoveStock
from crib.acts.tear_down import TearDown
from crib.demo.bench import attendant, leave_on_bench, measure
from crib.demo.items import ITEMS
from crib.demo.journal import ChangeHolder
from crib.demo.machines import GAUGE
from crib.demo.parts import PARTS, Op, holder_type_for, spec_name
from crib.demo.shop import master_readings
from crib.demo.state import Shop, Tool
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.store.engine import Tx

STATES = ("ready", "build", "measure", "blocked")
_HOURS = 24.0
_ATTEMPTS = 12

Rows = Sequence[SwapRow]


def stage(shop: Shop, tx: Tx, present: datetime) -> None:
    """Make sure that the list of the next day has every state of a sister.

    Args:
        shop: The shop, its journal not yet written.
        tx: A write transaction.
        present: The instant that the list is for.
    """
    for attempt in range(_ATTEMPTS):
        shop.journal.write(tx)
        rows = make_swap_list(plan_shop(tx, present), _HOURS).rows
        there = {row.sister.state for row in rows}
        missing = [state for state in STATES if state not in there]
        at = _instant(shop, present, attempt)
        if not missing or not any(_BRING[state](shop, at, rows) for state in missing):
            return


def _op_of(row: SwapRow) -> tuple[str, Op] | None:
    """Machine and operation whose tool a row wants."""
    for part in PARTS.values():
        for op in part.ops:
            if (
                part.machine == row.forecast.machine
                and spec_name(part.machine, op) == row.forecast.tool_spec
            ):
                return part.machine, op
    return None


def _in(rows: Rows, state: str) -> list[tuple[SwapRow, str, Op]]:
    found = []
    for row in rows:
        where = _op_of(row) if row.sister.state == state else None
        if where is not None:
            found.append((row, *where))
    return found


def _instant(shop: Shop, present: datetime, attempt: int) -> datetime:
    """An instant after everything written so far, later at each attempt."""
    last = shop.at + (present - shop.at) / 2 if shop.at < present else present
    return last - timedelta(milliseconds=5) * (_ATTEMPTS - attempt)


def _build(shop: Shop, at: datetime, machine: str, op: Op) -> Tool | None:
    tool = shop.build(op, spec_name(machine, op), holder_type_for(machine, op))
    if tool is not None:
        badge = attendant(shop.hours.local(at))
        shop.journal.say(at, BuildAssembly(tool.spec, tool.holder, tool.take.box.lot, by=badge))
        leave_on_bench(shop, tool, at, badge)
    return tool


def _bring_measure(shop: Shop, at: datetime, rows: Rows) -> bool:
    """A tool is built and not yet measured."""
    return any(
        _build(shop, at, machine, op) is not None for _, machine, op in _in(rows, "build")[:1]
    )


def _bring_ready(shop: Shop, at: datetime, rows: Rows) -> bool:
    """A tool is built and measured."""
    for _, machine, op in _in(rows, "build")[:1]:
        tool = _build(shop, at, machine, op)
        if tool is not None:
            badge = attendant(shop.hours.local(at))
            shop.journal.say(at, CheckGauge(GAUGE, master_readings(shop.draw, 0.0), by=badge))
            shop.set_aside.remove(tool)
            measure(shop, tool, at + timedelta(milliseconds=1), badge, smooth=True)
            return True
    return False


def _bring_build(shop: Shop, at: datetime, rows: Rows) -> bool:
    """A sister that never cut is taken apart again: its holder was wanted elsewhere."""
    for row, *_ in reversed(_in(rows, "ready")[1:]):  # the most urgent one stays
        for tool in shop.rack(row.forecast.tool_spec):
            if tool.holder == row.sister.holder and tool.edge.used == 0:
                badge = attendant(shop.hours.local(at))
                shop.journal.say(at, TearDown(tool.holder, "holder wanted", by=badge))
                shop.rack(tool.spec).remove(tool)
                tool.take.box.never_cut(tool.take)
                shop.free[tool.holder_type].append(tool.holder)
                return True
    return False


def _bring_blocked(shop: Shop, at: datetime, rows: Rows) -> bool:
    """The boxes of an item are counted: nothing is in them."""
    for row, _, op in reversed(_in(rows, "build")):
        boxes = shop.stock.boxes[op.item]
        turned = any(
            piece.unused(ITEMS[op.item].edges) and not piece.busy and not piece.scrapped
            for box in boxes
            for piece in box.pieces.values()
        )
        alone = sum(r.forecast.tool_spec == row.forecast.tool_spec for r in rows) == 1
        full = any(box.on_hand for box in boxes)
        if turned or not alone or not full:
            continue
        badge = attendant(shop.hours.local(at))
        for box in boxes:
            if box.on_hand:
                box.on_hand = 0
                shop.journal.say(
                    at, MoveStock(box.lot, "stocktaking", 0, by=badge, note="box is empty")
                )
        return True
    return _holders_away(shop, at, rows) or _bring_build(shop, at, rows)


def _holders_away(shop: Shop, at: datetime, rows: Rows) -> bool:
    """Every free holder of the scarcest type goes to repair."""
    builds = [(machine, op) for _, machine, op in _in(rows, "build")]
    kinds = Counter(holder_type_for(machine, op) for machine, op in builds)
    alone = [kind for kind, count in kinds.items() if count == 1 and shop.free[kind]]
    if len(builds) < 2 or not alone:
        return False
    kind = min(alone, key=lambda one: len(shop.free[one]))
    for mark in shop.free[kind]:
        shop.journal.say(at, ChangeHolder(mark, "repair"))
    shop.away += shop.free[kind]
    shop.free[kind] = []
    return True


_BRING: dict[str, Callable[[Shop, datetime, Rows], bool]] = {
    "ready": _bring_ready,
    "build": _bring_build,
    "measure": _bring_measure,
    "blocked": _bring_blocked,
}
