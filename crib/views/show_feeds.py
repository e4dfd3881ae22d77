"""The data of each machine: how late, its gaps, its state, how fast it cuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from crib.clock import us_from_instant
from crib.left_out import Kept, each, worked_out
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.feeds import (
    FeedRow,
    GapRow,
    gaps_by_machine,
    list_feeds,
    list_gaps,
    refuse_unreadable,
)
from crib.store.heard_rows import HeardMachine, State, heard_machines, states_now
from crib.store.path_counts import charges_around, last_part_at
from crib.views.cycle_times import CycleTimes, cycle_times
from crib.views.feed_process import feed_now, feed_process
from crib.views.gap_resets import GapShown, show_gap

_NOT_YET = sentence("No data yet: start 'crib feed', and check its feed_url.")


@dataclass(frozen=True, slots=True)
class StateTold:
    """One state as last reported by the machine.

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
    """The feed of one machine.

    Attributes:
        machine: Name of the machine.
        source: mtconnect, mqtt, folder or http.
        state: following, waiting (tried again soon), stopped (a person has to do something)
            or silent (the way in is in order, but nothing came for more than a minute).
        problem: Why it is not following, in a sentence.
        heard_at: When something came last.
        counted_at: When the last count was taken that came.
        last_part_at: When the last part was counted; null: the counter never went up.
        lag_s: How long after it was taken the last count came [s].
        clock_off_s: How far the machine's times are off, ahead above 0 [s]; null where not
            known.
        assets_sent_at: When tools were sent to its agent last, where that is set.
        assets_problem: Why they cannot be sent, in a sentence.
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
    last_part_at: datetime | None
    lag_s: float | None
    clock_off_s: float | None
    assets_sent_at: datetime | None
    assets_problem: str | None
    gaps: int
    last_gap: GapShown | None
    says: tuple[StateTold, ...]
    parts_last_hour: int
    cycle: CycleTimes


def feed_states(tx: Tx, present: datetime) -> list[FeedRow]:
    """How each machine is followed now, by name; those without any data are left out.

    Args:
        tx: An open transaction.
        present: Now.
    """
    feeds = {row.machine_id: row for row in list_feeds(tx)}
    process = feed_process(tx, present)
    found: list[FeedRow] = []

    def look(one: HeardMachine) -> None:
        told = feed_now(feeds.get(one.id) or _without_feed(one), process, present)
        refuse_unreadable(told)
        found.append(told)

    def failed(one: HeardMachine) -> str:
        why = _not_worked_out(one.machine)
        nothing = _without_feed(one._replace(counted_us=None, reported_us=None))
        found.append(replace(nothing, state="stopped", problem=why))
        return why

    heard = heard_machines(tx)
    each(
        [one for one in heard if one.id in feeds or one.feed_url or one.counted_us],
        look,
        failed,
    )
    return found


def list_gaps_shown(
    tx: Tx, since: datetime, limit: int, machine_id: int | None = None
) -> Kept[GapShown]:
    """Gaps found since an instant, the last first; ``problems`` names the others.

    Args:
        tx: An open transaction.
        since: Since when.
        limit: How many at most.
        machine_id: Only those of this machine.
    """
    return worked_out(
        list_gaps(tx, since, limit, machine_id),
        lambda gap: show_gap(tx, gap),
        lambda gap: sentence(
            "The gaps in the data of machine {machine} could not be worked out. "
            "Look at its counts. The service log has the details.",
            machine=gap.machine,
        ),
    )


def _not_worked_out(machine: str) -> str:
    return sentence(
        "The data of machine {machine} could not be evaluated. See at the "
        "machine whether its counts come in, and check its record. The service "
        "log has the details.",
        machine=machine,
    )


def show_feeds(tx: Tx, present: datetime, machine_id: int | None = None) -> Kept[FeedShown]:
    """Every machine with a feed, or of which anything was ever heard, by name.

    A machine that cannot be worked out is left out, and named in ``problems``.

    Args:
        tx: An open transaction.
        present: Now.
        machine_id: Only this machine.
    """
    states = states_now(tx)
    gaps = gaps_by_machine(tx, present - timedelta(hours=24))
    return worked_out(
        [one for one in feed_states(tx, present) if machine_id in (None, one.machine_id)],
        lambda one: _shown(
            tx, present, one, states.get(one.machine_id, ()), gaps.get(one.machine_id)
        ),
        lambda one: _not_worked_out(one.machine),
    )


def _shown(
    tx: Tx,
    present: datetime,
    feed: FeedRow,
    states: Sequence[State],
    gaps: tuple[int, GapRow] | None,
) -> FeedShown:
    return FeedShown(
        machine_id=feed.machine_id,
        machine=feed.machine,
        source=feed.source,
        state=feed.state,
        problem=feed.problem,
        heard_at=feed.heard_at,
        counted_at=feed.counted_at,
        last_part_at=last_part_at(tx, feed.machine_id),
        lag_s=feed.lag_s,
        clock_off_s=feed.clock_off_s,
        assets_sent_at=feed.assets_sent_at,
        assets_problem=feed.assets_problem,
        gaps=gaps[0] if gaps else 0,
        last_gap=show_gap(tx, gaps[1]) if gaps else None,
        says=tuple(StateTold(one.kind, one.path, one.value, one.since) for one in states),
        parts_last_hour=_parts_between(
            tx, feed.machine_id, present - timedelta(hours=1), present
        ),
        cycle=cycle_times(tx, present, feed.machine_id, states),
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
        heard_us=machine.reported_us,
        counted_us=machine.counted_us,
        lag_s=None,
        instance_id=None,
        next_sequence=None,
    )


def _parts_between(tx: Tx, machine_id: int, begin: datetime, end: datetime) -> int:
    """Parts made between two instants; between two readings they are spread evenly."""
    return int(_made_by(tx, machine_id, end) - _made_by(tx, machine_id, begin) + 1e-6)


def _made_by(tx: Tx, machine_id: int, at: datetime) -> float:
    at_us = us_from_instant(at)
    around = charges_around(tx, machine_id, None, at_us, at_us)
    return float(np.interp(at_us, around.at_us, around.total)) if around.at_us.size else 0.0
