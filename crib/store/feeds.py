"""Rows of feeds: how far each is read, what machines said last, rests, tools they named."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from crib.clock import instant_from_us, instant_or_none, readable_instant, us_from_instant
from crib.sentence import kept_beside, restored_sentence
from crib.store.engine import Tx, raw
from crib.store.engines.chosen import WORDS

_KEEP = """
    INSERT INTO feeds (machine_id, source, state, problem, heard_at, counted_at, lag_us,
                       instance_id, next_sequence, clock_off_us, device_uuid, lacks_us,
                       problem_sentence)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (machine_id) DO UPDATE SET
      source = excluded.source, state = excluded.state, problem = excluded.problem,
      problem_sentence = excluded.problem_sentence,
      heard_at = coalesce(excluded.heard_at, heard_at),
      counted_at = coalesce(excluded.counted_at, counted_at),
      lag_us = coalesce(excluded.lag_us, lag_us),
      instance_id = coalesce(excluded.instance_id, instance_id),
      next_sequence = coalesce(excluded.next_sequence, next_sequence),
      clock_off_us = coalesce(excluded.clock_off_us, clock_off_us),
      device_uuid = coalesce(excluded.device_uuid, device_uuid),
      lacks_us = coalesce(excluded.lacks_us, lacks_us)
"""
_GAP = (
    "INSERT INTO feed_gaps (machine_id, found_at, reason, from_sequence, until_sequence)"
    " VALUES (?, ?, ?, ?, ?)"
)
_NOW = """
    INSERT INTO machine_now (machine_id, kind, path, since, value) VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (machine_id, kind, path) DO UPDATE SET
      since = excluded.since, value = excluded.value
"""
_REST = (
    "INSERT INTO machine_rests (machine_id, path, begins_at, ends_at, value)"
    " VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"
)
_SEEN = f"""
    INSERT INTO tools_seen (machine_id, path, tool_number, asset, first_at, last_at)
    VALUES (?, ?, ?, ?, ?, ?)
    ON CONFLICT (machine_id, path, tool_number, asset) DO UPDATE SET
      first_at = {WORDS.least("tools_seen.first_at", "excluded.first_at")},
      last_at = {WORDS.greatest("tools_seen.last_at", "excluded.last_at")}
"""  # noqa: S608 - our own words alone


@dataclass(frozen=True, slots=True)
class FeedRow:
    """The feed of one machine as it is kept; its instants are read where they are used."""

    machine_id: int
    machine: str
    source: str
    state: str
    problem: str | None
    heard_us: int | None
    counted_us: int | None
    lag_s: float | None
    instance_id: int | None
    next_sequence: int | None
    clock_off_s: float | None = None
    device_uuid: str | None = None
    lacks_us: int = 0
    assets_sent_us: int | None = None
    assets_problem: str | None = None

    @property
    def heard_at(self) -> datetime | None:
        """When something came last."""
        return instant_or_none(self.heard_us)

    @property
    def counted_at(self) -> datetime | None:
        """When the last count was taken that came."""
        return instant_or_none(self.counted_us)

    @property
    def assets_sent_at(self) -> datetime | None:
        """When tools were sent to the agent last."""
        return instant_or_none(self.assets_sent_us)


def refuse_unreadable(feed: FeedRow) -> None:
    """Raise OverflowError where one of its instants lies beyond every calendar."""
    for at_us in (feed.heard_us, feed.counted_us, feed.assets_sent_us):
        instant_or_none(at_us)


@dataclass(frozen=True, slots=True)
class GapRow:
    """What nobody will see of a machine."""

    id: int
    machine: str
    found_us: int
    reason: str
    from_sequence: int | None
    until_sequence: int | None

    @property
    def found_at(self) -> datetime:
        """When it was found."""
        return instant_from_us(self.found_us)


class NowRow(NamedTuple):
    """The last value of one state of a machine."""

    kind: str
    path: str
    since_us: int
    value: str | None


def _seconds(us: Any) -> float | None:
    """Seconds of microseconds; None also of what a damaged row holds instead."""
    return us / 1e6 if isinstance(us, int) else None


def _told(problem: str | None, beside: str | None) -> str | None:
    return None if problem is None else restored_sentence(problem, beside)


class FeedPlace(NamedTuple):
    """How far a feed was read; what is None stays as it was.

    Attributes:
        machine_id: Whose.
        source: Way in.
        state: How it goes.
        problem: Why it does not, in a sentence.
        heard_at: When something came.
        counted_at: When the last count was read.
        place: Run of the agent and next sequence.
        clock_off: How far the machine's times are off, ahead above 0.
        device: What its agent calls it for good.
        lacks_us: What is added to the machine's clock [µs].
    """

    machine_id: int
    source: str
    state: str
    problem: str | None
    heard_at: datetime | None
    counted_at: datetime | None
    place: tuple[int, int] | None
    clock_off: timedelta | None = None
    device: str | None = None
    lacks_us: int | None = None


def keep_feeds(tx: Tx, feeds: Sequence[FeedPlace]) -> None:
    """Keep how far feeds were read."""
    raw(tx).executemany(_KEEP, [_feed_values(one) for one in feeds])


def _feed_values(feed: FeedPlace) -> tuple[object, ...]:
    heard_us = None if feed.heard_at is None else us_from_instant(feed.heard_at)
    counted_us = None if feed.counted_at is None else us_from_instant(feed.counted_at)
    lag_us = None
    if heard_us is not None and counted_us is not None:
        lag_us = max(0, heard_us - counted_us)
    told = (feed.machine_id, feed.source, feed.state, feed.problem)
    off_us = None if feed.clock_off is None else feed.clock_off // timedelta(microseconds=1)
    return (
        *told,
        heard_us,
        counted_us,
        lag_us,
        *(feed.place or (None, None)),
        off_us,
        feed.device,
        feed.lacks_us,
        kept_beside(feed.problem),
    )


def insert_gap(
    tx: Tx,
    machine_id: int,
    found_at: datetime,
    reason: str,
    from_sequence: int | None,
    until_sequence: int | None,
) -> None:
    """Record a gap."""
    values = (machine_id, us_from_instant(found_at), reason, from_sequence, until_sequence)
    raw(tx).execute(_GAP, values)


def gap_found_since(tx: Tx, machine_id: int, reason: str, since: datetime) -> bool:
    """Whether a gap of that kind was found since an instant."""
    rows = raw(tx).execute(
        "SELECT 1 FROM feed_gaps WHERE machine_id = ? AND reason = ? AND found_at >= ? LIMIT 1",
        (machine_id, reason, us_from_instant(since)),
    )
    return rows.fetchone() is not None


def asked_last(tx: Tx) -> dict[int, datetime]:
    """When the agents that are followed answered last, by machine id.

    What is pushed says nothing while it is quiet; an agent that answers says that there is
    nothing new. An instant that cannot be read is left out: the view of the feeds tells it.
    """
    rows = raw(tx).execute(
        "SELECT machine_id, heard_at FROM feeds WHERE source = 'mtconnect'"
        " AND state = 'following' AND heard_at IS NOT NULL"
    )
    found = {row[0]: readable_instant(row[1]) for row in rows}
    return {machine_id: at for machine_id, at in found.items() if at is not None}


def list_feeds(tx: Tx) -> list[FeedRow]:
    """Every feed that was ever read, by machine."""
    rows = tx.exec_driver_sql(
        "SELECT f.machine_id, m.machine, f.source, f.state, f.problem, f.heard_at,"
        " f.counted_at, f.lag_us, f.instance_id, f.next_sequence, f.clock_off_us,"
        " f.device_uuid, coalesce(f.lacks_us, 0) AS lacks_us, f.assets_sent_at,"
        " f.assets_problem, f.problem_sentence, f.assets_problem_sentence"
        " FROM feeds AS f JOIN machines AS m ON m.id = f.machine_id ORDER BY m.machine"
    )
    return [
        FeedRow(
            machine_id=row.machine_id,
            machine=row.machine,
            source=row.source,
            state=row.state,
            problem=_told(row.problem, row.problem_sentence),
            heard_us=row.heard_at,
            counted_us=row.counted_at,
            lag_s=_seconds(row.lag_us),
            instance_id=row.instance_id,
            next_sequence=row.next_sequence,
            clock_off_s=_seconds(row.clock_off_us),
            device_uuid=row.device_uuid,
            lacks_us=row.lacks_us,
            assets_sent_us=row.assets_sent_at,
            assets_problem=_told(row.assets_problem, row.assets_problem_sentence),
        )
        for row in rows
    ]


def list_gaps(
    tx: Tx, since: datetime | None = None, limit: int = 1000, machine_id: int | None = None
) -> list[GapRow]:
    """Gaps found since an instant, of one machine or all, the one found last first."""
    rows = raw(tx).execute(
        "SELECT g.id, m.machine, g.found_at, g.reason, g.from_sequence, g.until_sequence"
        " FROM feed_gaps AS g JOIN machines AS m ON m.id = g.machine_id"
        " WHERE g.found_at >= ? AND g.machine_id = coalesce(?, g.machine_id)"
        " ORDER BY g.id DESC LIMIT ?",
        (0 if since is None else us_from_instant(since), machine_id, limit),
    )
    return [GapRow(*row) for row in rows]


def gaps_by_machine(tx: Tx, since: datetime) -> dict[int, tuple[int, GapRow]]:
    """Of each machine with gaps: how many were found since an instant, and the last one."""
    rows = raw(tx).execute(
        "SELECT g.machine_id, (SELECT count(*) FROM feed_gaps AS n"
        " WHERE n.machine_id = g.machine_id AND n.found_at >= ?),"
        " g.id, m.machine, g.found_at, g.reason, g.from_sequence, g.until_sequence"
        " FROM feed_gaps AS g JOIN machines AS m ON m.id = g.machine_id"
        " WHERE g.id IN (SELECT max(id) FROM feed_gaps GROUP BY machine_id)",
        (us_from_instant(since),),
    )
    return {row[0]: (row[1], GapRow(*row[2:])) for row in rows}


def now_of(tx: Tx, machine_id: int) -> dict[tuple[str, str], NowRow]:
    """What a machine said last, by kind and path."""
    rows = raw(tx).execute(
        "SELECT kind, path, since, value FROM machine_now WHERE machine_id = ?", (machine_id,)
    )
    return {(row[0], row[1]): NowRow(*row) for row in rows}


def keep_now(tx: Tx, machine_id: int, rows: Sequence[NowRow]) -> None:
    """Keep what a machine said last."""
    raw(tx).executemany(_NOW, [(machine_id, *row) for row in rows])


def insert_rests(
    tx: Tx, machine_id: int, rows: Sequence[tuple[str, int, int, str | None]]
) -> None:
    """Record rests: path, begin, end [µs], what the machine called it; known ones stay."""
    raw(tx).executemany(_REST, [(machine_id, *row) for row in rows])


def see_tools(tx: Tx, machine_id: int, rows: Sequence[tuple[str, int, str, int, int]]) -> None:
    """Record tools that a machine named: path, tool number, asset, first and last [µs]."""
    raw(tx).executemany(_SEEN, [(machine_id, *row) for row in rows])


def active_conditions(tx: Tx) -> dict[int, list[tuple[str, str]]]:
    """Conditions that were active at each machine's agent: item and native code, by machine."""
    found: dict[int, list[tuple[str, str]]] = {}
    for machine_id, item, code in raw(tx).execute(
        "SELECT machine_id, item, code FROM active_conditions"
    ):
        found.setdefault(machine_id, []).append((item, code))
    return found


def keep_conditions(tx: Tx, machine_id: int, active: Iterable[tuple[str, str]]) -> None:
    """Keep what is active at a machine's agent now."""
    driver = raw(tx)
    driver.execute("DELETE FROM active_conditions WHERE machine_id = ?", (machine_id,))
    driver.executemany(
        "INSERT INTO active_conditions (machine_id, item, code) VALUES (?, ?, ?)",
        [(machine_id, *one) for one in sorted(active)],
    )


def see_session(tx: Tx, name: str, at: datetime) -> bool:
    """Note that a broker let a session in; whether it was there before."""
    known = raw(tx).execute("SELECT 1 FROM broker_sessions WHERE name = ?", (name,)).fetchone()
    raw(tx).execute(
        "INSERT INTO broker_sessions (name, seen_at) VALUES (?, ?)"
        " ON CONFLICT (name) DO UPDATE SET seen_at = excluded.seen_at",
        (name, us_from_instant(at)),
    )
    return known is not None


def keep_assets_sent(
    tx: Tx, machine: str, sent_at: datetime | None, problem: str | None
) -> None:
    """Keep when tools were sent to a machine's agent last (None: as before), or why not."""
    raw(tx).execute(
        "UPDATE feeds SET assets_sent_at = coalesce(?, assets_sent_at), assets_problem = ?,"
        " assets_problem_sentence = ?"
        " WHERE machine_id = (SELECT id FROM machines WHERE machine = ?)",
        (
            None if sent_at is None else us_from_instant(sent_at),
            problem,
            kept_beside(problem),
            machine,
        ),
    )
