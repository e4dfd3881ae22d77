"""One answer for whatever watches the feed: is all followed that should be, and if not, why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.views.feed_process import FeedProcess, feed_process
from crib.views.show_feeds import feed_states


@dataclass(frozen=True, slots=True)
class MachineHealth:
    """How one machine is followed."""

    machine: str
    state: str
    problem: str | None
    heard_at: datetime | None


@dataclass(frozen=True, slots=True)
class FeedHealth:
    """How it stands with the feed.

    Attributes:
        status: ok or failing.
        problem: What is wrong and what to do, in a sentence.
        process: The process that follows the machines.
        machines: Each machine that is heard, by name.
    """

    status: str
    problem: str | None
    process: FeedProcess
    machines: tuple[MachineHealth, ...]


def feed_health(tx: Tx, present: datetime, machine: str | None = None) -> FeedHealth:
    """How it stands with the feed: the process alone, or with one machine.

    A machine that is switched off over night fails nothing unless it is asked about.

    Args:
        tx: An open transaction.
        present: Now.
        machine: This one has to be followed too.

    Raises:
        NotKnown: No such machine.
    """
    asked = None if machine is None else machine_id_by_name(tx, machine)
    process, rows = feed_process(tx, present), feed_states(tx, present)
    problem = None if process.works else process.problem
    for row in rows:
        if row.machine_id == asked and row.state not in ("following", "silent"):
            problem = problem or row.problem
    told = [MachineHealth(row.machine, row.state, row.problem, row.heard_at) for row in rows]
    return FeedHealth("failing" if problem else "ok", problem, process, tuple(told))
