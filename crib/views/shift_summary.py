"""What a supervisor asks first: tonight, overdue swaps, sisters, machines, orders, gauges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.floor.calendar import attended_together
from crib.left_out import Kept
from crib.outlook.machine_told import MachineTold
from crib.outlook.shop_now import ShopNow
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.planning.night_options import IDLE, LOOK
from crib.store.engine import Tx
from crib.store.feeds import FeedRow
from crib.views.gauge_state import GaugeDue, checks_due, gauge_states, shift_end
from crib.views.night_view import NightSwap, NightView, nights_ahead
from crib.views.reorder_items import reorder_items
from crib.views.shift_view import MachineShift, ShiftView, shift_view
from crib.views.show_feeds import feed_states

#: How far ahead is looked for somebody who comes to a machine: over any holidays.
_LOOK_AHEAD = timedelta(days=31)


@dataclass(frozen=True, slots=True)
class NightRefused:
    """A machine that may not run the whole stretch.

    Attributes:
        machine: Its name.
        run_until: When to stop it; None where it does not run at all.
        reason: limit (its risk is over the limit), failed (a tool in it did) or not_known (its
            risk is not).
    """

    machine: str
    run_until: datetime | None
    reason: str = "limit"


@dataclass(frozen=True, slots=True)
class StationDue:
    """A station with a swap to make.

    Attributes:
        machine: Its machine.
        station: Its name.
        swap_by: Latest instant.
        overdue_since: Since when the edge is past its point; None where it is not.
        minutes: What the swap takes; None where the tool spec does not say.
        asked: Whether a person is asked first if the edge was changed without a scan.
        overdue_parts: Parts made since then; None where it is not overdue.
    """

    machine: str
    station: str
    swap_by: datetime
    overdue_since: datetime | None = None
    minutes: float | None = None
    asked: bool = False
    overdue_parts: int | None = None

    @property
    def place(self) -> str:
        """Machine and station as people write them."""
        return f"{self.machine}/{self.station}"


@dataclass(frozen=True, slots=True)
class Tonight:
    """The next unattended stretch of every machine that has one and a job in it.

    While nobody is there at all, those in progress alone.

    Attributes:
        machines: How many have one.
        can_run: Those that may run through it, the swaps below made.
        refused: Those that may not.
        swaps: What to swap for its sake before it begins.
        also_due: Swaps that are due before it begins, but not for its sake.
        begins_at: When the first of them begins; None where there is none.
        ends_at: When the last of them ends.
        begun: Whether the first of them is on, so that nobody is there to swap.
        standing: Machines beside these that stand, so that nothing is cut.
        no_job: Machines beside these that have no job for it.
    """

    machines: int
    can_run: tuple[str, ...]
    refused: tuple[NightRefused, ...]
    swaps: tuple[StationDue, ...]
    also_due: tuple[StationDue, ...]
    begins_at: datetime | None
    ends_at: datetime | None
    begun: bool
    standing: tuple[str, ...] = ()
    no_job: tuple[str, ...] = ()

    @property
    def ahead(self) -> list[StationDue]:
        """All to be swapped before it begins, for its sake or not, the most urgent first."""
        return sorted((*self.swaps, *self.also_due), key=lambda one: one.swap_by)


@dataclass(frozen=True, slots=True)
class SisterNotReady:
    """A swap ahead whose sister is not ready, or is blocked.

    Attributes:
        machine: Its machine.
        station: Its station.
        state: measure, build or blocked.
        needed_by: When it has to be ready.
        late: Whether the bench will have it ready only after that; never of a blocked one.
        lacks: What a blocked one lacks first: holder or edge; None where it is not blocked.
    """

    machine: str
    station: str
    state: str
    needed_by: datetime
    late: bool
    lacks: str | None = None

    @property
    def to_do(self) -> str:
        """What it needs: measure, build, holder or edge; blocked where that is not known."""
        return self.lacks or self.state

    @property
    def place(self) -> str:
        """Machine and station as people write them."""
        return f"{self.machine}/{self.station}"


@dataclass(frozen=True, slots=True)
class MachineQuiet:
    """A machine that is not known to make parts though a job is on.

    Attributes:
        machine: Its name.
        state: silent (no counts), standing (counts without parts), never_heard, or
            not_followed (its feed stopped or cannot be reached).
        since: Since when; None where that is not known.
    """

    machine: str
    state: str
    since: datetime | None


@dataclass(frozen=True, slots=True)
class ItemDue:
    """A cutting item to order.

    Attributes:
        cutting_item: Its name.
        order_by: When at the latest.
        packs: How many packs.
    """

    cutting_item: str
    order_by: datetime
    packs: int


@dataclass(frozen=True, slots=True)
class ShiftSummary:
    """The answers, each from the view that has it in full.

    Attributes:
        as_of: The instant it speaks of.
        tonight: The next unattended stretches.
        due: Swaps to make now, overdue for longest in front.
        sisters: Sisters of the next 24 h that are not ready or blocked, late ones in front.
        quiet: Machines that are silent or stand.
        order: Items to order, the first to order in front.
        gauges: Gauges whose check does not hold through the shift, the most urgent first.
        problems: What could not be worked out, in sentences.
        nobody_before: When somebody comes to a machine again; None where somebody is there.
        next_night: While nobody is there: the stretches after those in progress; else None.
        before_next_job: Swaps of machines whose job is complete, to make before the next one.
    """

    as_of: datetime
    tonight: Tonight
    due: tuple[StationDue, ...]
    sisters: tuple[SisterNotReady, ...]
    quiet: tuple[MachineQuiet, ...]
    order: tuple[ItemDue, ...]
    gauges: tuple[GaugeDue, ...]
    problems: tuple[str, ...]
    nobody_before: datetime | None = None
    next_night: Tonight | None = None
    before_next_job: tuple[StationDue, ...] = ()

    @property
    def alone(self) -> bool:
        """Whether machines run while nobody is there at all."""
        return self.nobody_before is not None and self.tonight.begun

    @property
    def overdue(self) -> tuple[StationDue, ...]:
        """Those of the swaps to make now whose edge is past its point."""
        return tuple(one for one in self.due if one.overdue_since)

    @property
    def blocked_sisters(self) -> tuple[SisterNotReady, ...]:
        """Those that the bench has no job for: a holder or edges are missing."""
        return tuple(one for one in self.sisters if one.state == "blocked")


def shift_summary(tx: Tx, plan: ShopPlan, view: ShiftView | None = None) -> ShiftSummary:
    """The answers at the plan's instant.

    Args:
        tx: An open transaction.
        plan: The shop's plan.
        view: The shift, where it is at hand already, whatever its horizon.
    """
    now, seen = plan.shop.now, view or shift_view(plan, 24.0)
    rows = make_swap_list(plan).rows
    due = [row for row in rows if row.is_due(now)]
    due.sort(key=lambda one: (one.overdue_since is None, one.overdue_since or now))
    nobody_before = _nobody_before(plan.shop)
    begun = [one for one in seen.nights if one.night.begun] if nobody_before else []
    ahead = nights_ahead(plan) if begun else Kept[NightView]()
    order = [
        ItemDue(one.cutting_item, one.order_by_at, one.packs) for one in reorder_items(plan)
    ]
    return ShiftSummary(
        as_of=now,
        tonight=_tonight(begun or seen.nights),
        due=tuple(_due(row) for row in due if not row.before_next_job),
        sisters=_sisters(rows),
        quiet=tuple(_quiet(now, seen.machines, feed_states(tx, now))),
        order=tuple(sorted(order, key=lambda one: (one.order_by, one.cutting_item))),
        gauges=tuple(checks_due(gauge_states(tx, now), now, shift_end(plan.shop))),
        problems=(*plan.shop.problems, *seen.not_shown.values(), *ahead.problems),
        nobody_before=nobody_before,
        next_night=_tonight(ahead) if ahead else None,
        before_next_job=tuple(_due(row) for row in due if row.before_next_job),
    )


def _nobody_before(shop: ShopNow) -> datetime | None:
    calendars = {id(one.calendar): one.calendar for one in shop.machines.values()}
    manned = attended_together([*calendars.values()])
    first = next(iter(manned.stretches(shop.now, shop.now + _LOOK_AHEAD)), None)
    return first.start_at if first and first.start_at > shop.now else None


def _due(row: SwapRow, minutes: float | None = None) -> StationDue:
    one, since = row.forecast, row.overdue_since
    parts = one.overdue_parts if since else None
    return StationDue(one.machine, one.station, row.swap_by, since, minutes, row.asked, parts)


def _tonight(nights: Sequence[NightView]) -> Tonight:
    lit = [one for one in nights if one.decision.kind != IDLE]
    idle = [one.night for one in nights if one.decision.kind == IDLE]
    return Tonight(
        machines=len(lit),
        can_run=tuple(sorted(one.night.machine for one in lit if one.state != "unsafe")),
        refused=tuple(
            _refused(one)
            for one in sorted(lit, key=lambda one: one.night.machine)
            if one.state == "unsafe"
        ),
        swaps=_before(one.swaps for one in nights),
        also_due=_before(one.also_due for one in nights),
        begins_at=min((one.begin_at for one in lit or nights), default=None),
        ends_at=max((one.end_at for one in lit or nights), default=None),
        begun=any(one.night.begun for one in lit),
        standing=tuple(sorted(one.machine for one in idle if one.stands)),
        no_job=tuple(sorted(one.machine for one in idle if not one.stands)),
    )


def _refused(one: NightView) -> NightRefused:
    until = one.chosen.until_at if one.chosen else None
    if one.night.failed:
        return NightRefused(one.night.machine, until, "failed")
    return NightRefused(
        one.night.machine, until, "not_known" if one.decision.kind == LOOK else "limit"
    )


def _before(found: Iterable[Sequence[NightSwap]]) -> tuple[StationDue, ...]:
    return tuple(_due(swap.row, swap.minutes) for some in found for swap in some)


def _sisters(rows: Iterable[SwapRow]) -> tuple[SisterNotReady, ...]:
    found = [
        SisterNotReady(
            row.forecast.machine,
            row.forecast.station,
            row.sister.state,
            row.needed_by,
            row.late and not row.blocked,
            _lacks(row),
        )
        for row in rows
        if row.not_ready or row.blocked
    ]
    return tuple(sorted(found, key=lambda one: (not one.late, one.needed_by)))


def _lacks(row: SwapRow) -> str | None:
    if not row.blocked:
        return None
    return next((one.what for one in row.sister.missing), None)


def _quiet(
    now: datetime, machines: Sequence[MachineShift], feeds: Sequence[FeedRow]
) -> list[MachineQuiet]:
    lost = {row.machine for row in feeds if row.problem and row.state != "following"}
    found = []
    for one in machines:
        state = quiet_state(
            one.told, one.silent_since, one.last_count_at, lost=one.machine in lost
        )
        if state is not None:
            since = one.told.stands_since if state == "standing" else one.last_count_at
            found.append(MachineQuiet(one.machine, state, since))
    found.sort(key=lambda one: (one.since is None, one.since or now, one.machine))
    return found


def quiet_state(
    told: MachineTold,
    silent_since: datetime | None,
    last_count_at: datetime | None,
    *,
    lost: bool = False,
) -> str | None:
    """Whether a machine is silent or stands, in one word; None where it is neither.

    Args:
        told: What it does by its counts.
        silent_since: Set where a run is on and it stopped telling.
        last_count_at: Its last part count; None: it never sent one.
        lost: Whether its feed stopped or cannot be reached.
    """
    if silent_since is not None:
        return "silent"
    if told.stands_since is not None and not told.is_complete:
        return "standing"
    if lost:
        return "not_followed"
    if last_count_at is None and told.part is not None:
        return "never_heard"
    return None
