"""What a machine said of itself, booked: counts, states and the place, in one transaction.

Every way in ends here (agents, brokers, dropped files, posted counts go through
``report_counts`` alike). What comes twice changes nothing: a count is known by its instant,
and the place is kept with what was read up to it.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from crib.acts.count_columns import columns_from_json
from crib.acts.report_counts import CountsReported, ReportCounts, report_counts
from crib.acts.signal_breakage import SignalBreakage, signal_breakage
from crib.clock import print_instant, us_from_instant
from crib.errors import Refusal
from crib.floor.path_counters import path_number
from crib.records.columns import LONGEST_TEXT
from crib.store.counts import counters_of
from crib.store.doubt_rows import Doubt, insert_doubt
from crib.store.engine import Tx
from crib.store.feeds import (
    FeedPlace,
    NowRow,
    insert_gap,
    insert_rests,
    keep_conditions,
    keep_feeds,
    keep_now,
    now_of,
    see_tools,
)
from crib.store.resolve import machine_id_by_name

#: Times further off than this are spoken of.
CLOCK_OFF = timedelta(seconds=60)
_LOG = logging.getLogger("crib.feed")
#: Execution states in which a machine cuts (MTConnect, part 2).
CUTTING = frozenset({"ACTIVE"})
#: A pause shorter than this is a bar change or a door, and part of the running share.
SHORTEST_REST_US = 60_000_000
#: A tool number follows the asset of the same tool within this time, if it follows.
SETTLED_US = 10_000_000


@dataclass(frozen=True, slots=True)
class CountNews:
    """What a part counter said.

    Attributes:
        at: When.
        text: What it said, as received.
        run: The run that it names, if any.
        source: Which counter of which device it is, and where that is read; None where
            nothing tells it from another one.
        path: The path that it counts, by its number; None for all of them.
    """

    at: datetime
    text: str
    run: str | None = None
    source: str | None = None
    path: int | None = None


@dataclass(frozen=True, slots=True)
class StateNews:
    """A state that a machine reported: EXECUTION, PROGRAM, TOOL_NUMBER or TOOL_ASSET_ID."""

    at: datetime
    kind: str
    path: str
    text: str | None


@dataclass(frozen=True, slots=True)
class GapNews:
    """Observations that nobody will see: why, and between which sequences where known.

    Attributes:
        reason: ``restarted`` (the agent restarted) or ``overrun`` (it kept them too
            briefly); of a broker ``queue`` (it may have dropped some of what it kept for us) or
            ``session`` (it kept nothing), ``breakages_`` before them for those.
        from_sequence: First one that was not seen, of the agent's run at that time.
        until_sequence: First one seen again; None after a restart.
    """

    reason: str
    from_sequence: int | None = None
    until_sequence: int | None = None


@dataclass(frozen=True, slots=True)
class BreakageNews:
    """A signal that the edge in a tool number of a path broke.

    Attributes:
        at: When.
        path: Path of the control, as the machine calls it; empty where it names none.
        tool_number: The tool's number in the program; None where not given.
        signal: What says so, in its own words.
        why: Why a person has to say which tool broke, in a sentence; None where it is known.
    """

    at: datetime
    path: str
    tool_number: int | None
    signal: str
    why: str | None = None


@dataclass(frozen=True, slots=True)
class FeedNews:
    """What one machine's feed brought.

    Attributes:
        machine: Name of the machine.
        source: ``mtconnect``, ``mqtt``, ``folder`` or ``http``.
        heard_at: When it came; None where nothing came (only a problem is reported).
        counts: Part counts.
        states: States in the order in which they came to be.
        place: Run of the agent and next sequence; None keeps the place on record.
        gap: What was missed.
        state: ``following``, ``waiting`` (tried again soon) or ``stopped`` (a person has to
            do something).
        problem: Why it is not following, in a sentence.
        breakages: Signals that an edge broke; where nobody knows which, it is asked about.
        conditions: Conditions that are active at the agent by then (item and native code);
            None where nothing changed.
        clock_off: How far its times are off, ahead above 0; None where not known.
        device: What its agent calls it for good (uuid); None where it tells none.
        lacks_us: What was added to the machine's clock, which was set back [µs]; None keeps
            what is on record.
    """

    machine: str
    source: str
    heard_at: datetime | None
    counts: Sequence[CountNews] = ()
    states: Sequence[StateNews] = ()
    place: tuple[int, int] | None = None
    gap: GapNews | None = None
    state: str = "following"
    problem: str | None = None
    breakages: Sequence[BreakageNews] = ()
    conditions: frozenset[tuple[str, str]] | None = None
    clock_off: timedelta | None = None
    device: str | None = None

    def instants(self) -> list[datetime]:
        """The times that the machine sent."""
        told = [one.at for one in self.counts]
        told += [one.at for one in self.states]
        return told + [one.at for one in self.breakages]

    lacks_us: int | None = None

    @property
    def tells_something(self) -> bool:
        """Whether a view of the shop may differ by it."""
        heard = self.counts or self.states or self.gap or self.breakages
        return bool(heard) or self.conditions is not None


@dataclass(slots=True)
class _Seen:
    now: dict[tuple[str, str], NowRow]
    said_us: dict[tuple[str, str], int] = field(default_factory=dict)
    changed: set[tuple[str, str]] = field(default_factory=set)
    rests: list[tuple[str, int, int, str | None]] = field(default_factory=list)
    tools: dict[tuple[str, int, str], tuple[int, int]] = field(default_factory=dict)


def book_feed(tx: Tx, present: datetime, news: FeedNews) -> CountsReported | None:
    """Book what a feed brought; what became of its counts, None where it brought none.

    Raises:
        NotKnown: No such machine.
    """
    machine_id = machine_id_by_name(tx, news.machine)
    done = None
    if news.counts:
        # a machine with one counter has it for all paths, whatever path is named
        own = bool(counters_of(tx, machine_id)[0])
        readings = columns_from_json(
            [
                {"at": print_instant(one.at), "count": number_of(one.text)}
                | ({} if one.run is None else {"run": one.run})
                | ({"path": one.path} if own and one.path is not None else {})
                for one in news.counts
            ]
        )
        sources = [one.source for one in news.counts]
        if any(source is not None for source in sources):
            readings = replace(readings, source=sources)
        done = report_counts(tx, present, ReportCounts(news.machine, readings))
    if news.states:
        _book_states(tx, machine_id, news.states)
    if news.gap is not None:
        gap = news.gap
        insert_gap(tx, machine_id, present, gap.reason, gap.from_sequence, gap.until_sequence)
    for one in news.breakages:
        _book_breakage(tx, present, machine_id, news.machine, one)
    if news.conditions is not None:
        keep_conditions(tx, machine_id, news.conditions)
    keep_feeds(tx, [place_of(machine_id, news)])
    return done


def place_of(machine_id: int, news: FeedNews) -> FeedPlace:
    """How far a machine's feed was read, by its news."""
    return FeedPlace(
        machine_id,
        news.source,
        news.state,
        news.problem,
        news.heard_at,
        max((one.at for one in news.counts), default=None),
        news.place,
        _clock_off(news),
        news.device,
        news.lacks_us,
    )


def _clock_off(news: FeedNews) -> timedelta | None:
    """How far its times are off; those ahead of ours are certainly off."""
    newest = max(news.instants(), default=None)
    if news.clock_off is not None or newest is None or news.heard_at is None:
        return news.clock_off
    ahead = newest - news.heard_at
    return ahead if ahead > CLOCK_OFF else None


def _book_breakage(
    tx: Tx, present: datetime, machine_id: int, machine: str, one: BreakageNews
) -> None:
    """Book a signal, or ask about it where nobody knows whose it is."""
    at, why = min(one.at, present), one.why
    if why is None:
        command = SignalBreakage(
            one.signal,
            machine=machine,
            tool_number=one.tool_number,
            path=path_number(one.path),
            at=at,
        )
        try:
            signal_breakage(tx, present, command)
        except Refusal as refusal:
            why = refusal.sentence
        else:
            return
    _LOG.warning("%s: breakage '%s': %s", machine, one.signal, why)
    signal = one.signal.strip()[:LONGEST_TEXT] or "?"
    doubt = Doubt(machine_id, one.path, one.tool_number, at, signal, why)
    insert_doubt(tx, doubt, present)


def number_of(text: str) -> object:
    """A count as its text says it; what is no number stays text and is kept aside as such."""
    plain = text.strip()
    try:
        value = float(plain)
    except ValueError:
        return plain
    return int(value) if value.is_integer() and abs(value) < 2**53 else plain


def _book_states(tx: Tx, machine_id: int, states: Iterable[StateNews]) -> None:
    seen = _Seen(now_of(tx, machine_id))
    for one in states:
        _take(seen, one)
    keep_now(tx, machine_id, [seen.now[key] for key in sorted(seen.changed)])
    insert_rests(tx, machine_id, seen.rests)
    see_tools(tx, machine_id, [(*key, *span) for key, span in seen.tools.items()])


def _take(seen: _Seen, one: StateNews) -> None:
    key, at_us = (one.kind, one.path), us_from_instant(one.at)
    before = seen.now.get(key)
    if before is not None and at_us < before.since_us:
        return  # late news of what is over
    _settle(seen, one.path, at_us)
    if one.kind == "EXECUTION" and before is not None:
        _end_rest(seen, before, one, at_us)
    if before is None or before.value != one.text:
        seen.now[key] = NowRow(one.kind, one.path, at_us, one.text)
        seen.changed.add(key)
    seen.said_us[key] = at_us
    if one.kind in ("TOOL_ASSET_ID", "TOOL_NUMBER"):
        _see_tool(seen, one.path, at_us)


def _end_rest(seen: _Seen, before: NowRow, one: StateNews, at_us: int) -> None:
    rested = before.value is not None and before.value not in CUTTING
    if rested and one.text != before.value and at_us - before.since_us >= SHORTEST_REST_US:
        seen.rests.append((one.path, before.since_us, at_us, before.value))


def _see_tool(seen: _Seen, path: str, at_us: int) -> None:
    """The tool number and the asset that a path names at the same instant belong together."""
    number, asset = ("TOOL_NUMBER", path), ("TOOL_ASSET_ID", path)
    if seen.said_us.get(number) == seen.said_us.get(asset) == at_us:
        _name_tool(seen, path, at_us)  # else one of them is still that of the tool before


def _settle(seen: _Seen, path: str, at_us: int) -> None:
    """An asset that came alone is of the number before it, once no other followed."""
    number = seen.now.get(("TOOL_NUMBER", path))
    asset = seen.now.get(("TOOL_ASSET_ID", path))
    if number is None or asset is None or asset.since_us <= number.since_us:
        return
    if at_us >= asset.since_us + SETTLED_US:
        _name_tool(seen, path, asset.since_us)


def _name_tool(seen: _Seen, path: str, at_us: int) -> None:
    number, asset = seen.now[("TOOL_NUMBER", path)], seen.now[("TOOL_ASSET_ID", path)]
    if not number.value or not asset.value or not number.value.isdecimal():
        return
    key = (path, int(number.value), asset.value)
    first, last = seen.tools.get(key, (at_us, at_us))
    seen.tools[key] = (min(first, at_us), max(last, at_us))
