"""The machines of a shift in the order in which they need somebody, and what each needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from crib.outlook.swap_rows import SwapRow
from crib.views.night_view import NightView
from crib.views.shift_summary import quiet_state
from crib.views.shift_view import MachineShift, ShiftView

#: What a machine needs, the most urgent first.
NOW, BEFORE_NIGHT, SISTER, NOTHING = "now", "before_night", "sister", "nothing"
_ORDER = (NOW, BEFORE_NIGHT, SISTER, NOTHING)


@dataclass(frozen=True, slots=True)
class MachineNeeds:
    """One machine and what it needs.

    Attributes:
        shift: The machine over the horizon.
        night: Its next unattended stretch; None where none lies ahead.
        next_swap: Its most urgent swap within the horizon: the one overdue for longest, if any.
        due: Swaps to make now, but for those that only wait for the next job.
        sisters: Sisters within the horizon that will not be ready in time.
        quiet: silent, standing, not_followed, never_heard; None where it makes parts.
        waits: Whether a swap waits for the next job.
    """

    shift: MachineShift
    night: NightView | None
    next_swap: SwapRow | None
    due: tuple[SwapRow, ...]
    sisters: int
    quiet: str | None
    waits: bool

    @property
    def need(self) -> str:
        """The most urgent of what it needs: now, before_night, sister or nothing."""
        if self.due or self.quiet:
            return NOW
        if self.waits or (self.night is not None and self.night.state != "safe"):
            return BEFORE_NIGHT
        return SISTER if self.sisters else NOTHING


def machine_needs(view: ShiftView, lost: Collection[str] = ()) -> list[MachineNeeds]:
    """Every machine of a shift, the one that needs somebody most in front.

    Args:
        view: The shift.
        lost: Machines whose feed stopped or cannot be reached.
    """
    nights = {one.night.machine: one for one in view.nights}
    swaps: dict[str, list[SwapRow]] = defaultdict(list)
    for row in view.swaps:
        swaps[row.forecast.machine].append(row)
    found = []
    for one in view.machines:
        rows = swaps[one.machine]
        overdue = [row for row in rows if row.overdue_since and not row.before_next_job]
        overdue.sort(key=lambda row: row.overdue_since or view.now)
        planned = [row for row in rows if not row.standby]
        found.append(
            MachineNeeds(
                one,
                nights.get(one.machine),
                next(iter(overdue or planned or rows), None),
                tuple(row for row in rows if row.is_due(view.now) and not row.before_next_job),
                sum(row.late for row in rows),
                quiet_state(
                    one.told, one.silent_since, one.last_count_at, lost=one.machine in lost
                ),
                any(row.is_due(view.now) and row.before_next_job for row in rows),
            )
        )
    last = datetime.max.replace(tzinfo=view.now.tzinfo)

    def key(one: MachineNeeds) -> tuple[int, int, datetime, str]:
        swap_by = one.next_swap.swap_by if one.next_swap else last
        unsafe = one.night is not None and one.night.state == "unsafe"
        return (_ORDER.index(one.need), not unsafe, swap_by, one.shift.machine)

    return sorted(found, key=key)
