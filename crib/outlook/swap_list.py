"""Swap list and bench queue: what to swap, the sister behind it, what the bench does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from crib.errors import above_longest
from crib.floor.calendar import ALWAYS, WorkCalendar, attended_together
from crib.left_out import NOT_WORKED_OUT
from crib.outlook.collector import collector_rests
from crib.outlook.shop_now import ShopNow
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swaps_ahead import LAST, rank, swaps_ahead
from crib.outlook.vacancies import EMPTY
from crib.planning.bench import BenchQueue, QueueRow, add_bench_time, bench_jobs, bench_queue
from crib.planning.hours import BenchHours
from crib.planning.shelf import (
    Shelf,
    Sister,
    WaitingAssembly,
)
from crib.planning.sisters import find_sisters

#: Horizon of a list where none is asked for, and the longest [h].
USUAL_HOURS = 24.0
LONGEST_HOURS = 24.0 * 30


@dataclass(frozen=True, slots=True)
class SwapRow:
    """One swap of one station.

    Attributes:
        forecast: The station's forecast now.
        ordinal: 0 for the edge in the machine, or the tool that an empty station needs, 1 for
            its successor, …
        swap_by: Latest instant to swap.
        swap_after_parts: Parts from now; None for successors.
        why: Slug; see ``crib.planning.swaps``.
        why_sentence: The same in words.
        sister: The tool that replaces it.
        bench: Its job in the bench queue, if the sister needs one.
        cost_if_earlier_minor: What swapping ``cost_step_parts`` earlier would cost beside the
            plan [hundredths of the currency]; None where it is due now.
        cost_if_later_minor: The same that many parts later; below 0 where the edge alone
            would rather wait.
        cost_step_parts: A quarter of a planned life of the edge that comes out.
        sister_by: When the sister has to be ready, where that is before ``swap_by``: one in ten
            like edges has failed by then.
        standby: Whether no swap is planned: the edge is run until it fails or its run ends, and
            ``swap_by`` only says by when the sister has to be ready.
    """

    forecast: Forecast
    ordinal: int
    swap_by: datetime
    swap_after_parts: int | None
    why: str
    why_sentence: str
    sister: Sister
    bench: QueueRow | None
    cost_if_earlier_minor: int | None = None
    cost_if_later_minor: int | None = None
    cost_step_parts: int | None = None
    sister_by: datetime | None = None
    standby: bool = False

    @property
    def needed_by(self) -> datetime:
        """When the sister has to be ready."""
        return self.sister_by or self.swap_by

    def is_due(self, now: datetime) -> bool:
        """Whether the swap is to be made now."""
        return not self.standby and self.swap_by <= now

    @property
    def overdue_since(self) -> datetime | None:
        """When the edge in the machine reached its point, where that lies behind."""
        return self.forecast.overdue_since if self.ordinal == 0 else None

    @property
    def takes_out(self) -> str | None:
        """Code of the assembly that comes out; None for a successor and an empty station."""
        return self.forecast.assembly or None if self.ordinal == 0 else None

    @property
    def tool_spec(self) -> str:
        """What goes in; of what only comes out, what that is."""
        return self.forecast.wanted or self.forecast.tool_spec

    @property
    def removal(self) -> bool:
        """Whether the tool comes out and nothing goes in."""
        return self.sister.state == "not_needed"

    @property
    def fills(self) -> bool:
        """Whether nothing comes out: the station is empty."""
        return self.why == EMPTY

    @property
    def ready_by(self) -> datetime | None:
        """When the sister will be ready; None where it is now, or never will."""
        if self.bench is not None:
            return self.bench.finish_at
        return self.sister.available_from

    @property
    def late(self) -> bool:
        """Whether the sister will not be there in time."""
        return self.sister.state == "blocked" or (self.bench is not None and self.bench.late)


@dataclass(frozen=True, slots=True)
class SwapList:
    """Swaps within a horizon, the most urgent first, and the bench queue they make.

    Attributes:
        rows: Swaps of all machines asked for.
        queue: The bench's work for the whole shop, whichever machine was asked for.
        queue_rows: The swap behind each job of the queue, in its order.
        until: End of the horizon.
    """

    rows: tuple[SwapRow, ...]
    queue: BenchQueue
    queue_rows: tuple[SwapRow, ...]
    until: datetime


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


def _whole_list(plan: ShopPlan, hours: float) -> SwapList:
    shop = plan.shop
    until = shop.now + timedelta(hours=hours)
    planned = swaps_ahead(plan, until)
    needs = [row.need for row in planned]
    bench = BenchHours.of(bench_calendar(shop), shop.now)
    shelf = plan.shelf
    sisters = find_sisters(needs, shelf, finish=bench.finish)
    queue = bench_queue(bench_jobs(needs, sisters), bench)
    sisters = add_bench_time(sisters, queue)
    job_of = {row.job.need: row for row in queue.rows if row.job.need is not None}
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
