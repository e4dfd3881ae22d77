"""Gaps in what machines tell, and whether a reset of the counter may hide in each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.acts.report_counts import fastest_between
from crib.clock import us_from_instant
from crib.floor.counter import most_parts, pace_of
from crib.store.counts import counts_beside, parts_per_cycle
from crib.store.engine import Tx
from crib.store.feeds import GapRow
from crib.store.path_counts import main_counter
from crib.store.resolve import machine_id_by_name
from crib.store.stations import runs_of


@dataclass(frozen=True, slots=True)
class GapShown:
    """What nobody will see of a machine.

    Attributes:
        count_before: The last count that was booked before it; None where there was none.
        count_after: The first count after it; None where none came yet.
        reset_may_hide: Whether the counter may have been set to zero in it without a trace:
            it shows no less than before, and the machine had the time to make all of it. More
            parts may have been made then than are counted. None where not known.
    """

    id: int
    machine: str
    found_at: datetime
    reason: str
    from_sequence: int | None
    until_sequence: int | None
    count_before: int | None
    count_after: int | None
    reset_may_hide: bool | None


def show_gap(tx: Tx, gap: GapRow) -> GapShown:
    """A gap with the counts beside it."""
    counter = main_counter(tx, machine_id_by_name(tx, gap.machine))
    before, after = counts_beside(tx, counter, us_from_instant(gap.found_at))
    hides = None
    if before is not None and after is not None:
        begin, end = np.array([before[0]]), np.array([after[0]])
        fastest = fastest_between(runs_of(tx, counter.machine_id), begin, end)
        pace = pace_of(fastest, 1, parts_per_cycle(tx, counter))
        had_time = after[1] <= most_parts(end - begin, pace)[0]
        hides = bool(after[1] >= before[1] and had_time)
    return GapShown(
        gap.id,
        gap.machine,
        gap.found_at,
        gap.reason,
        gap.from_sequence,
        gap.until_sequence,
        None if before is None else before[1],
        None if after is None else after[1],
        hides,
    )
