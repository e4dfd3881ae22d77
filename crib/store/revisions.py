"""Numbers of writes: of the last one, of the last one to each machine, to what all share.

A cache of rows compares these numbers and reads only what changed. A write counts
by the tables that it touched, which its connection noted (``Digests``). A table
that is named nowhere here counts for every machine and for what they share.

Counts have no number of their own here: their batches are numbered facts already, which
``crib.store.readings`` goes by.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, text

from crib.store.engines.interface import Driver

#: Tables whose rows are one machine's, by a column of their own.
BY_COLUMN: Final = frozenset({"runs", "stops"})

_OF_MOUNT = """
    SELECT s.machine_id FROM {0} AS t JOIN mounts AS m ON m.fact_id = t.mount_id
    JOIN stations AS s ON s.id = m.station_id WHERE t.fact_id = ?
    """
#: Tables whose rows are one machine's, by the station that they lead to from their key.
BY_STATION: Final = {
    "station_state": "SELECT machine_id FROM stations WHERE id = ?",
    "mounts": "SELECT s.machine_id FROM mounts AS m JOIN stations AS s ON s.id = m.station_id"
    " WHERE m.fact_id = ?",
    "removals": _OF_MOUNT.format("removals"),
    "corrections": _OF_MOUNT.format("corrections"),
    "breakages": _OF_MOUNT.format("breakages"),
    "life_confirmations": """
    SELECT s.machine_id FROM life_confirmations AS c
    JOIN removals AS r ON r.fact_id = c.removal_id JOIN mounts AS m ON m.fact_id = r.mount_id
    JOIN stations AS s ON s.id = m.station_id WHERE c.fact_id = ?
    """,
}

#: Tables of what all machines share: the shelf, the bench, what a program and a tool are.
SHARED: Final = frozenset(
    {
        "assemblies", "assembly_state", "calendar_spans", "calendars", "closures",
        "cutting_items", "edge_uses", "gauge_checks", "gauges", "holder_types", "holders",
        "label_codes", "lots", "machines", "operations", "pieces", "preset_overrides",
        "preset_readings", "presets", "stock_moves", "teardowns", "tool_life",
        "tool_spec_items", "tool_specs",
    }
)  # fmt: skip

#: Tables that nobody keeps rows of: they are read at each look, or with the readings. Facts
#: are among them, since what they say stands in a table of their kind, but for reversals.
READ_EACH_TIME: Final = frozenset(
    {
        "active_conditions", "breakage_answers", "breakage_doubts", "broker_sessions",
        "code_counters", "count_batches", "count_readings", "count_refusals", "count_sources",
        "count_verdicts", "counts_booked_later", "facts", "feed_gaps", "feeds",
        "idempotency_keys", "kept_forecasts", "label_prints", "machine_now", "machine_rests",
        "machine_revisions", "night_choices", "people", "question_dismissals", "rack_places",
        "revisions", "tools_seen",
    }
)  # fmt: skip

#: No number of writes gets here: a larger one is damaged.
_BEYOND: Final = 2**53

_STANDS = "SELECT revision, shared, everything FROM revisions"
_COUNT = "UPDATE revisions SET revision = ?, shared = ?, everything = ?"
_COUNT_MACHINE = (
    "INSERT INTO machine_revisions (machine_id, revision) SELECT ?, revision FROM revisions"
    " WHERE true ON CONFLICT (machine_id) DO UPDATE SET revision = excluded.revision"
)
_REVERSALS = "SELECT 1 FROM facts WHERE id BETWEEN ? AND ? AND kind = 'reversal' LIMIT 1"

_NOW = text(
    """
    SELECT r.revision, r.shared, r.everything, coalesce(d.id, 0) AS link, d.chained
    FROM revisions AS r
    LEFT JOIN digest_chain AS d ON d.id = (SELECT max(id) FROM digest_chain)
    """
)
_CHANGED = text("SELECT machine_id FROM machine_revisions WHERE revision > :since")
_LINK = text("SELECT chained FROM digest_chain WHERE id = :link")


class Touched(NamedTuple):
    """What a write touched.

    Attributes:
        keys: Keys of the rows, by table.
        machines: Machines that rows of ``BY_COLUMN`` name, before or after.
    """

    keys: Mapping[str, Collection[Any]]
    machines: Collection[int | None]


class _Numbers(NamedTuple):
    """The last write; the last one to what is shared; the last one that may touch anything."""

    last: int
    shared: int
    everything: int


class Revisions(NamedTuple):
    """Where a database stands.

    Attributes:
        last: Number of writes so far.
        shared: Number of the last one that touched what all machines share.
        everything: Number of the last one of which it is not known what it touched.
        link: The last link of the chain of digests, 0 where there is none.
        chained: What that link holds of all before it.
    """

    last: int
    shared: int
    everything: int
    link: int
    chained: bytes | None


def count_write(driver: Driver, touched: Touched | None) -> None:
    """Count a write, for the machines that it touched or for what they share.

    Args:
        driver: The connection, in a transaction that is about to be committed.
        touched: What it touched; None where that is not known.
    """
    everything = touched is None
    shared = False
    machines: set[int | None] = set()
    if touched is not None:
        tables = touched.keys.keys() - READ_EACH_TIME
        shared = bool(tables & SHARED)
        everything = bool(tables - SHARED - BY_COLUMN - BY_STATION.keys())
        everything = everything or _reverses(driver, touched.keys.get("facts", ()))
        machines = {*touched.machines, *_by_station(driver, touched.keys)}
        everything = everything or None in machines
    numbers = _sound(*(driver.execute(_STANDS).fetchone() or (0, 0, 0)))
    this = numbers.last + 1
    marks = (this if shared else numbers.shared, this if everything else numbers.everything)
    driver.execute(_COUNT, (this, *marks))
    if machines and not everything:
        driver.executemany(_COUNT_MACHINE, [(machine_id,) for machine_id in machines])


def _reverses(driver: Driver, facts: Collection[int]) -> bool:
    """Whether one of these facts takes another back, of whatever kind that is."""
    return bool(facts) and bool(driver.execute(_REVERSALS, (min(facts), max(facts))).fetchone())


def _by_station(driver: Driver, keys: Mapping[str, Collection[Any]]) -> Iterable[int | None]:
    """Machines of the touched rows that lead to a station; None where a row leads to none."""
    for table, query in BY_STATION.items():
        for key in keys.get(table, ()):
            row = driver.execute(query, (key,)).fetchone()
            yield None if row is None else row[0]


def revision(tx: Connection) -> int:
    """Number of writes so far: equal numbers mean that nothing changed in between."""
    return _sound(*tx.execute(text(_STANDS)).one()).last


def revisions(tx: Connection) -> Revisions:
    """Where the database stands."""
    row = tx.execute(_NOW).one()
    numbers = _sound(row.revision, row.shared, row.everything)
    return Revisions(*numbers, row.link, row.chained)


def _sound(last: object, shared: object, everything: object) -> _Numbers:
    """The numbers of a database; what is damaged among them hides no change from a cache.

    A damaged last number begins again at 0: no cache holds that, so each reads everything. A
    damaged other one counts as the last.
    """
    total = last if isinstance(last, int) and 0 <= last < _BEYOND else 0
    marks = (
        mark if isinstance(mark, int) and 0 <= mark <= total else total
        for mark in (shared, everything)
    )
    return _Numbers(total, *marks)


def goes_on_from(tx: Connection, before: Revisions) -> bool:
    """Whether the database is the one of an earlier look with writes added.

    It is not where a backup was put in its place, or another file.
    """
    if before.link == 0:
        return False
    held = tx.execute(_LINK, {"link": before.link}).scalar_one_or_none()
    return held == before.chained and revision(tx) >= before.last


def machines_changed(tx: Connection, since: int) -> set[int]:
    """Machines that a write after the one of a number touched, counts left aside."""
    return set(tx.execute(_CHANGED, {"since": since}).scalars())
