"""The last counter reading of many machines at once, and rows that go on from there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from crib.arrays import Floats, Ints
from crib.store.engine import Tx, raw

#: An instant before and after every other [µs].
FAR_US = 1 << 62

_LAST = f"""
    SELECT m.id, m.machine, coalesce(m.parts_per_cycle, 1), coalesce(r.at, -{FAR_US}),
           coalesce(r.count, 0), coalesce(r.life, 0), coalesce(r.total, 0),
           coalesce(r.source_id, 0),
           coalesce(m.path_counters, '') <> '' OR EXISTS (
               SELECT 1 FROM count_refusals AS d WHERE d.machine_id = m.id AND d.path = 0
               AND d.at > r.at),
           s.source
    FROM machines AS m LEFT JOIN count_readings AS r ON r.machine_id = m.id AND r.path = 0
      AND r.at = (SELECT max(at) FROM count_readings WHERE machine_id = m.id AND path = 0)
    LEFT JOIN count_sources AS s ON s.id = r.source_id
    WHERE m.retired_at IS NULL
"""  # noqa: S608 - no value from outside
# paths are numbered up to 99; 0 is the counter of all of them
_COUNTED = """
    WITH RECURSIVE paths(path) AS (
      SELECT 0 UNION ALL SELECT path + 1 FROM paths WHERE path < 99)
    SELECT m.machine, s.source, r.at, r.count FROM machines AS m CROSS JOIN paths AS p
    JOIN count_readings AS r ON r.machine_id = m.id AND r.path = p.path
      AND r.at = (SELECT max(at) FROM count_readings
                  WHERE machine_id = m.id AND path = p.path)
    JOIN count_sources AS s ON s.id = r.source_id
"""
# the order of crib.store.stations.runs_of; one run ends where the next begins
_STARTED = f"""
    SELECT r.machine_id, coalesce(r.start_at, -{FAR_US}),
           coalesce(r.end_at,
                    (SELECT coalesce(n.start_at, -{FAR_US}) FROM runs AS n
                     WHERE n.machine_id = r.machine_id AND n.state <> 'planned'
                       AND n.retired_at IS NULL
                       AND (coalesce(n.start_at, -{FAR_US}), n.id)
                         > (coalesce(r.start_at, -{FAR_US}), r.id)
                     ORDER BY coalesce(n.start_at, -{FAR_US}), n.id LIMIT 1),
                    {FAR_US}),
           p.cycle_s
    FROM runs AS r JOIN parts AS p ON p.id = r.part_id
    WHERE r.state <> 'planned' AND r.retired_at IS NULL
      AND (r.end_at IS NULL OR r.end_at >= ?)
"""  # noqa: S608 - no value from outside
_LAST_OF_COUNTER = """
    SELECT count FROM count_readings
    WHERE machine_id = (SELECT id FROM machines WHERE machine = ?) AND path = ?
    ORDER BY at DESC LIMIT 1
"""
_FACTS = (
    "INSERT INTO facts (id, kind, at, recorded_at, person_id, note, reverses_id)"
    " VALUES (?, 'count', ?, ?, NULL, NULL, NULL)"
)
_BATCHES = (
    "INSERT INTO count_batches (fact_id, machine_id, accepted, duplicates, refused)"
    " VALUES (?, ?, ?, 0, 0)"
)
_READINGS = (
    "INSERT INTO count_readings (machine_id, at, count, life, total, source_id, run_id,"
    " batch_id) VALUES (?, ?, ?, ?, ?, nullif(?, 0), NULL, ?)"
)


def last_count(tx: Tx, machine: str, path: int | None = None) -> int | None:
    """What a counter of a machine showed last; None where it never sent one.

    Args:
        tx: An open transaction.
        machine: Name of the machine.
        path: The path that has the counter; None: the one for all paths.
    """
    row = tx.exec_driver_sql(_LAST_OF_COUNTER, (machine, path or 0)).first()
    return None if row is None else int(row[0])


class LastCounts(NamedTuple):
    """The machines of a shop, each with its last accepted reading, shape (machines,) each.

    Attributes:
        place: Place in the columns of each machine's name.
        machine_id: Ids.
        at_once: Parts that one cycle makes.
        at_us: Instant [µs]; ``-FAR_US`` where nothing was read yet.
        said: What the counter said.
        life: Its counter life.
        total: Its running total.
        source: Id of the counter that it is of, 0 where unknown.
        doubted: Whether more has to be looked at: counts after it were kept aside, or paths of
            the machine have counters of their own.
        sources: What that counter is called, None where unknown.
    """

    place: dict[str, int]
    machine_id: Ints
    at_once: Ints
    at_us: Ints
    said: Ints
    life: Ints
    total: Ints
    source: Ints
    doubted: Ints
    sources: list[str | None]


class StartedRuns(NamedTuple):
    """Runs that were begun, shape (runs,) each: whose, from when to when [µs], cycle [s]."""

    machine_id: Ints
    begin_us: Ints
    end_us: Ints
    cycle_s: Floats


def last_counts(tx: Tx) -> LastCounts:
    """Every machine that is not retired, with its last reading."""
    rows = raw(tx).execute(_LAST).fetchall()
    place = {row[1]: index for index, row in enumerate(rows)}
    table = np.array([(row[0], *row[2:-1]) for row in rows], dtype=np.int64).reshape(-1, 8)
    ids, at_once, at_us, said, life, total, source, doubted = table.T
    names = [row[-1] for row in rows]
    return LastCounts(place, ids, at_once, at_us, said, life, total, source, doubted, names)


def started_runs(tx: Tx, since_us: int) -> StartedRuns:
    """Runs of all machines that were begun and not over by an instant [µs]."""
    rows = raw(tx).execute(_STARTED, (since_us,)).fetchall()
    table = np.array([row[:3] for row in rows], dtype=np.int64).reshape(-1, 3)
    cycle = np.array([row[3] for row in rows], dtype=np.float64)
    return StartedRuns(table[:, 0], table[:, 1], table[:, 2], cycle)


def write_counts(
    tx: Tx,
    present_us: int,
    machine_ids: Sequence[int],
    sizes: Sequence[int],
    readings: tuple[Ints, Ints, Ints, Ints, Ints],
) -> None:
    """Write readings of many machines: a fact and a batch for each, then their readings.

    Args:
        tx: A write transaction.
        present_us: Now [µs].
        machine_ids: Machines, each once.
        sizes: How many of the readings are of each.
        readings: Instants [µs], counts, lives, totals and sources, machine after machine,
            shape (readings,) each.
    """
    driver = raw(tx)
    (last,) = driver.execute("SELECT coalesce(max(id), 0) FROM facts").fetchone()
    fact_ids = range(last + 1, last + 1 + len(machine_ids))
    driver.executemany(_FACTS, [(one, present_us, present_us) for one in fact_ids])
    driver.executemany(_BATCHES, list(zip(fact_ids, machine_ids, sizes, strict=True)))
    whose = np.repeat(np.arange(len(machine_ids)), sizes).tolist()
    columns = zip(*(column.tolist() for column in readings), strict=True)
    driver.executemany(_READINGS, _rows(whose, machine_ids, fact_ids, columns))


def _rows(
    whose: Iterable[int],
    machine_ids: Sequence[int],
    fact_ids: Sequence[int],
    columns: Iterable[tuple[int, ...]],
) -> list[tuple[int, ...]]:
    return [
        (machine_ids[one], *reading, fact_ids[one])
        for one, reading in zip(whose, columns, strict=True)
    ]


def counted_last(tx: Tx) -> dict[str, dict[str, tuple[int, int]]]:
    """When each counter of each machine was booked last [µs], and what it said then."""
    found: dict[str, dict[str, tuple[int, int]]] = {}
    for machine, source, at_us, count in raw(tx).execute(_COUNTED):
        found.setdefault(machine, {})[source] = (at_us, count)
    return found
