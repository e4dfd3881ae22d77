"""What is heard of each machine: how late, what was missed, what it does, how fast it cuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.clock import us_from_instant
from crib.store.counts import totals_around
from crib.store.engine import Tx
from crib.store.feeds import FeedRow, GapRow, gaps_by_machine, list_feeds
from crib.store.heard_rows import HeardMachine, State, heard_machines, states_now
from crib.usecases.cycle_times import CycleTimes, cycle_times

_NOT_YET = (
    "Nothing was heard of it yet: start 'crib feed', and see whether its feed_url is right."
)


@dataclass(frozen=True, slots=True)
class StateTold:
    """One state as the machine told it last.

    Attributes:
        kind: EXECUTION, PROGRAM, TOOL_NUMBER or TOOL_ASSET_ID.
        path: Path of the control, as the machine calls it.
        value: What it is; None where the machine does not know.
        since: Since when.
    """

    kind: str
    path: str
    value: str | None
    since: datetime


@dataclass(frozen=True, slots=True)
class FeedShown:
    """What is heard of one machine.

    Attributes:
        machine: Name of the machine.
        source: mtconnect, mqtt, folder or http.
        state: following, waiting (tried again soon) or stopped (a person has to do something).
        problem: Why it is not following, in a sentence.
        heard_at: When something came last.
        counted_at: When the last count was taken that came.
        lag_s: How long after it was taken the last count came [s].
        gaps: Gaps found in the last 24 hours.
        last_gap: The gap found last.
        says: What the machine said last of itself.
        parts_last_hour: Parts counted in the last hour.
        cycle: Its pace over the last eight hours.
    """

    machine_id: int
    machine: str
    source: str
    state: str
    problem: str | None
    heard_at: datetime | None
    counted_at: datetime | None
    lag_s: float | None
    gaps: int
    last_gap: GapRow | None
    says: tuple[StateTold, ...]
    parts_last_hour: int
    cycle: CycleTimes


def show_feeds(tx: Tx, present: datetime, machine_id: int | None = None) -> list[FeedShown]:
    """Every machine with a feed, or of which anything was ever heard, by name.

    Args:
        tx: An open transaction.
        present: Now.
        machine_id: Only this machine.
    """
    feeds = {row.machine_id: row for row in list_feeds(tx)}
    states = states_now(tx)
    gaps = gaps_by_machine(tx, present - timedelta(hours=24))
    return [
        _shown(tx, present, one, feeds.get(one.id), states.get(one.id, ()), gaps.get(one.id))
        for one in heard_machines(tx)
        if (machine_id is None or one.id == machine_id)
        and (one.id in feeds or one.id in states or one.feed_url or one.counted_at)
    ]


def _shown(
    tx: Tx,
    present: datetime,
    machine: HeardMachine,
    feed: FeedRow | None,
    states: Sequence[State],
    gaps: tuple[int, GapRow] | None,
) -> FeedShown:
    if feed is None:
        feed = _without_feed(machine)
    return FeedShown(
        machine_id=machine.id,
        machine=machine.machine,
        source=feed.source,
        state=feed.state,
        problem=feed.problem,
        heard_at=feed.heard_at,
        counted_at=feed.counted_at,
        lag_s=feed.lag_s,
        gaps=gaps[0] if gaps else 0,
        last_gap=gaps[1] if gaps else None,
        says=tuple(StateTold(one.kind, one.path, one.value, one.since) for one in states),
        parts_last_hour=_parts_between(tx, machine.id, present - timedelta(hours=1), present),
        cycle=cycle_times(tx, present, machine.id, states),
    )


def _without_feed(machine: HeardMachine) -> FeedRow:
    """A machine that nobody follows: its agent was never asked, or its counts are posted."""
    waits = machine.feed_url is not None
    return FeedRow(
        machine_id=machine.id,
        machine=machine.machine,
        source="mtconnect" if waits else "http",
        state="waiting" if waits else "following",
        problem=_NOT_YET if waits else None,
        heard_at=machine.reported_at,
        counted_at=machine.counted_at,
        lag_s=None,
        instance_id=None,
        next_sequence=None,
    )


def _parts_between(tx: Tx, machine_id: int, begin: datetime, end: datetime) -> int:
    """Parts made between two instants; between two readings they are spread evenly."""
    return int(_made_by(tx, machine_id, end) - _made_by(tx, machine_id, begin) + 1e-6)


def _made_by(tx: Tx, machine_id: int, at: datetime) -> float:
    at_us = us_from_instant(at)
    around = totals_around(tx, machine_id, at_us, at_us)
    return float(np.interp(at_us, around.at_us, around.total)) if around.at_us.size else 0.0
