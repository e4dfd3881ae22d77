"""Rows of the data of machines: states, rests, tools they named, counts posted.

Their instants are read where they are used: one that cannot be is its row's fault alone.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from crib.clock import instant_from_us, instant_or_none, us_from_instant
from crib.store.engine import Tx
from crib.store.named_rows import rows_by_name

_MACHINES = """
    SELECT m.id, m.machine, m.feed_url,
           (SELECT max(at) FROM count_readings AS c WHERE c.machine_id = m.id)
             AS counted_us,
           (SELECT f.recorded_at FROM facts AS f WHERE f.id =
             (SELECT b.fact_id FROM count_batches AS b
              WHERE b.machine_id = m.id AND b.accepted > 0 ORDER BY b.fact_id DESC LIMIT 1))
             AS reported_us
    FROM machines AS m WHERE m.retired_at IS NULL ORDER BY m.machine
"""


class HeardMachine(NamedTuple):
    """A machine, where it is heard, and its last count."""

    id: int
    machine: str
    feed_url: str | None
    counted_us: int | None
    reported_us: int | None


class State(NamedTuple):
    """The last value of one state of a machine; None where the machine does not know it."""

    machine_id: int
    kind: str
    path: str
    since_us: int
    value: str | None

    @property
    def since(self) -> datetime:
        """Since when it is so."""
        return instant_from_us(self.since_us)


@dataclass(frozen=True, slots=True)
class Rest:
    """A stretch without cutting; ``ends_at`` is None while it lasts."""

    path: str
    begins_at: datetime
    ends_at: datetime | None
    value: str | None


class ToolSeen(NamedTuple):
    """A tool that a machine named in a tool number of a path."""

    machine_id: int
    machine: str
    path: str
    tool_number: int
    asset: str
    first_us: int
    last_us: int

    @property
    def first_at(self) -> datetime:
        """When it was named first."""
        return instant_from_us(self.first_us)

    @property
    def last_at(self) -> datetime:
        """When it was named last."""
        return instant_from_us(self.last_us)


def heard_machines(tx: Tx) -> list[HeardMachine]:
    """Every machine in use, by name."""
    return rows_by_name(HeardMachine, tx.exec_driver_sql(_MACHINES))


def states_now(tx: Tx) -> dict[int, list[State]]:
    """What each machine said last, by machine id; paths and kinds in order."""
    found: dict[int, list[State]] = defaultdict(list)
    rows = tx.exec_driver_sql(
        "SELECT machine_id, kind, path, since AS since_us, value FROM machine_now"
        " ORDER BY 1, 3, 2"
    )
    for state in rows_by_name(State, rows):
        found[state.machine_id].append(state)
    return found


def rests_since(tx: Tx, machine_id: int, since: datetime) -> list[Rest]:
    """Rests of a machine that ended after an instant, in order."""
    rows = tx.exec_driver_sql(
        "SELECT path, begins_at, ends_at, value FROM machine_rests"
        " WHERE machine_id = ? AND ends_at > ? ORDER BY begins_at, path",
        (machine_id, us_from_instant(since)),
    )
    return [
        Rest(row[0], instant_from_us(row[1]), instant_or_none(row[2]), row[3]) for row in rows
    ]


def tools_named(tx: Tx) -> list[ToolSeen]:
    """Every tool that a machine named, by machine, path and number, the last named last."""
    rows = tx.exec_driver_sql(
        "SELECT t.machine_id, m.machine, t.path, t.tool_number, t.asset,"
        " t.first_at AS first_us, t.last_at AS last_us"
        " FROM tools_seen AS t JOIN machines AS m ON m.id = t.machine_id"
        " WHERE m.retired_at IS NULL"
        " ORDER BY m.machine, t.path, t.tool_number, t.last_at, t.first_at"
    )
    return rows_by_name(ToolSeen, rows)
