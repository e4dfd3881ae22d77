"""Swap list and bench queue: what to swap, the sister behind it, what the bench does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from crib.errors import above_longest
from crib.floor.calendar import ALWAYS, WorkCalendar, attended_together
from crib.left_out import NOT_WORKED_OUT
from crib.outlook.collector import collector_rests
from crib.outlook.kits_ahead import spoken_for, turns_of
from crib.outlook.shop_now import ShopNow
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swap_rows import LONGEST_HOURS, USUAL_HOURS, SwapList, SwapRow
from crib.outlook.swaps_ahead import LAST, rank, swaps_ahead
from crib.planning.bench import add_bench_time, bench_jobs, bench_queue
from crib.planning.hours import BenchHours
from crib.planning.shelf import (
    Shelf,
    Sister,
    WaitingAssembly,
)
from crib.planning.sisters import find_sisters


def make_swap_list(
    plan: ShopPlan, hours: float = USUAL_HOURS, machine: str | None = None
) -> SwapList:
    """Look through the horizon: every swap, its sister, and the work that makes it.

    Args:
        plan: The shop's forecast.
        hours: Horizon [h], above 0 and at most 720.
        machine: Only this machine's rows; sisters and bench are shared out over all.

    Raises:
        Invalid: A horizon out of range.
        NotKnown: There is no such machine.
    """
    if not 0 < hours <= LONGEST_HOURS:
        raise above_longest("hours", hours, LONGEST_HOURS)
    whole = plan.listed.get(hours)
    if whole is None:
        with collector_rests():
            whole = plan.listed[hours] = _whole_list(plan, hours)
    if machine is None:
        return whole
    name = plan.shop.machine_named(machine)
    return replace(whole, rows=tuple(r for r in whole.rows if r.forecast.machine == name))


def rows_within(plan: ShopPlan, hours: float) -> Sequence[SwapRow]:
    """The rows of every machine within so many hours."""
    return make_swap_list(plan, hours).rows


def _whole_list(plan: ShopPlan, hours: float) -> SwapList:
    shop = plan.shop
    until = shop.now + timedelta(hours=hours)
    planned = swaps_ahead(plan, until)
    needs = [row.need for row in planned]
    bench = BenchHours.of(bench_calendar(shop), shop.now)
    shelf = plan.shelf
    kits = spoken_for(plan, hours, rows_within)
    turns = turns_of(plan, hours, needs, rows_within)
    sisters = find_sisters(needs, shelf, finish=bench.finish, spoken_for=kits, turns=turns)
    queue = bench_queue(bench_jobs(needs, sisters), bench)
    sisters = add_bench_time(sisters, queue)
    job_of = {row.job.need: row for row in queue.rows if row.job.need is not None}
    complete = {one.ahead.machine for one in shop.machines.values() if one.told.is_complete}
    rows = [
        SwapRow(
            row.forecast,
            row.need.ordinal,
            row.need.swap_by,
            row.forecast.swap_after_parts if row.need.ordinal == 0 else None,
            row.need.why,
            row.sentence,
            sister,
            job_of.get(place),
            row.cost_if_earlier_minor,
            row.cost_if_later_minor,
            row.cost_step_parts,
            row.need.due_at,
            row.standby,
            row.forecast.machine in complete,
        )
        for place, (row, sister) in enumerate(zip(planned, sisters, strict=True))
    ]
    queue_rows = tuple(rows[row.job.need] for row in queue.rows if row.job.need is not None)
    first = sum(rank(row.need, shop.now) < LAST for row in planned)
    rows[first:first] = _not_worked_out(plan, shelf, sisters)
    return SwapList(tuple(rows), queue, queue_rows, until)


def _not_worked_out(plan: ShopPlan, shelf: Shelf, given: Sequence[Sister]) -> list[SwapRow]:
    """Rows of edges that nothing is known of: due for a look now, sisters left over."""
    taken = {sister.assembly for sister in given}
    left = [one for one in shelf.ready if one.code not in taken]
    found = []
    for one in plan.forecasts:
        if one.why == NOT_WORKED_OUT:
            sister = _left_over(one, left)
            found.append(
                SwapRow(one, 0, plan.shop.now, None, one.why, one.why_sentence, sister, None)
            )
    return found


def _left_over(one: Forecast, left: list[WaitingAssembly]) -> Sister:
    """Take what still waits for such a station."""
    if one.out_only:
        return Sister("not_needed")
    wanted = one.wanted or one.tool_spec
    found = next((wait for wait in left if wait.tool_spec == wanted), None)
    if found is None:
        return Sister("blocked")
    left.remove(found)
    return Sister("ready", assembly=found.code, holder=found.holder)


def bench_calendar(shop: ShopNow) -> WorkCalendar:
    """The bench's hours: its own calendar, else whenever any machine is attended.

    Its own is one called bench or toolroom. Without any calendar the bench is taken to be
    open round the clock.
    """
    if shop.bench is not None:
        return shop.bench
    calendars = {
        id(c): c for one in shop.machines.values() if (c := one.calendar) is not ALWAYS
    }
    if not calendars:
        return ALWAYS
    return attended_together(list(calendars.values()))


def blocked_rows(rows: Sequence[SwapRow]) -> list[SwapRow]:
    """Swaps whose sister cannot be ready in time, the most urgent first."""
    return [row for row in rows if row.late]
