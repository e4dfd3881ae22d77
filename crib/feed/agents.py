"""One machine followed at its agent: asked again and again, each answer booked before the next.

The place that counts is the one in the database: what could not be booked is asked for again.
"""

from __future__ import annotations

import asyncio
import logging
import random
import re
from collections.abc import Mapping
from contextlib import aclosing
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo

import aiohttp
from yarl import URL

from crib.acts.book_feed import FeedNews
from crib.clock import Clock
from crib.feed.asking import Agent, Limits
from crib.feed.breakages import BreakageSignals, Condition
from crib.feed.documents import DataItem, Devices, Document, Errors, Header
from crib.feed.follower import Ask, Follower, Place, Step
from crib.feed.machine_clock import MachineClock
from crib.feed.machine_time import MachineTime
from crib.feed.problems import FeedProblem, NotBooked, NothingToFollow
from crib.feed.writer import Booker
from crib.floor.path_counters import path_counters
from crib.sentence import figure, sentence, together

_LOG = logging.getLogger("crib.feed")
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 1.0, 60.0
#: Streams that brought nothing are tried again after a while, at last once an hour [s].
_STREAM_AGAIN_S, _STREAM_AT_LAST_S = 60.0, 3600.0
#: That an agent still answers is booked this often where it says nothing new [s].
_HEARD_EVERY_S = 5.0
#: Answers in a row that bring nothing new before a pause is made.
_MOST_IDLE = 4
#: A clock further off than this is spoken of [s].
_CLOCK_OFF_S = 60.0


@dataclass(frozen=True, slots=True)
class Source:
    """Which machine is read where.

    Attributes:
        machine: Name of the machine.
        url: Its feed_url.
        count_item: The part count to follow; None for the best one.
        breakage_signals: Conditions that tell a broken tool; None for none.
        path_counters: Counters of its paths, as the machine's record says them; None for none.
    """

    machine: str
    url: str = field(repr=False)
    count_item: str | None = None
    breakage_signals: str | None = None
    path_counters: str | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """What was booked of a machine before.

    Attributes:
        place: Where it was read to.
        tools: The last tool number, by path; None where it was unknown.
        conditions: What was active at its agent: item and native code.
        lacks_us: What was added to its clock [µs].
        counted: The last count of each counter, by its name: when it was booked [µs], and what
            it said.
    """

    place: Place | None = None
    tools: Mapping[str, str | None] = field(default_factory=dict)
    conditions: frozenset[Condition] = frozenset()
    lacks_us: int = 0
    counted: Mapping[str, tuple[int, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Pace:
    """How often agents are asked.

    Attributes:
        poll_s: Pause between two questions, and of a stream [s].
        stream: Whether streams are asked for.
        first_pause_s: Pause after the first failure; it doubles up to a minute [s].
        stream_again_s: Time in which an agent whose stream brought nothing is asked instead;
            it doubles up to an hour [s].
    """

    poll_s: float = 1.0
    stream: bool = True
    first_pause_s: float = _FIRST_PAUSE_S
    stream_again_s: float = _STREAM_AGAIN_S


@dataclass(slots=True)
class Outcome:
    """How far a machine has been followed, for display."""

    machine: str
    state: str = "waiting"
    problem: str | None = sentence("Not asked yet.")
    counts: int = 0


class MachineFeed:
    """Follows one machine.

    Args:
        source: Which machine, where.
        kept: What was booked of it before.
        session: What asks.
        booker: Takes in what it says.
        clock: Tells the time.
        pace: How often.
        limits: How long and how large answers may be.
        zone: Zone of times without an offset.
    """

    def __init__(
        self,
        source: Source,
        kept: Kept,
        session: aiohttp.ClientSession,
        booker: Booker,
        clock: Clock,
        pace: Pace,
        limits: Limits,
        zone: tzinfo = UTC,
    ) -> None:
        self._source, self._pace = source, pace
        self._booker, self._clock = booker, clock
        self._agent = Agent(session, source.url, limits)
        self._booked = self._reached = kept.place
        self._tools, self._conditions = dict(kept.tools), kept.conditions
        counted = {
            name.rpartition(" ")[2]: (at, str(count))
            for name, (at, count) in kept.counted.items()
        }
        self._time = MachineTime(kept.lacks_us, counted, zone)
        self._follower = self._new_follower()
        self._streams_from = 0.0
        self._stream_pause_s = pace.stream_again_s
        self._at_end = False
        self._machine_clock, self._asked_at = MachineClock(), clock()
        self._idle = 0
        self._heard_booked = 0.0
        self._skipped_told = self._another_way = False
        self._followed_told = ""
        self.outcome = Outcome(source.machine)

    def _new_follower(self) -> Follower:
        source = self._source
        signals = BreakageSignals(source.breakage_signals, self._tools, self._conditions)
        where = URL(source.url).authority.rpartition("@")[2]
        return Follower(
            source.machine,
            self._booked,
            source.count_item,
            signals,
            where,
            self._time,
            path_counters(source.path_counters),
        )

    async def follow(self) -> None:
        """Read on until cancelled."""
        pause = self._pace.first_pause_s
        # many machines do not all ask in the same moment
        await asyncio.sleep(random.uniform(0, self._pace.poll_s / 2))  # noqa: S311 - no secret
        while True:
            if await self._tried():
                if self.outcome.state == "following":
                    pause = self._pace.first_pause_s
                if self._at_end or self._idle > _MOST_IDLE:
                    await asyncio.sleep(self._pace.poll_s)
                continue
            await asyncio.sleep(pause * random.uniform(0.5, 1.0))  # noqa: S311 - no secret
            pause = min(2 * pause, _LONGEST_PAUSE_S)

    async def read_once(self) -> Outcome:
        """Read to the present end; what came of it."""
        while await self._tried() or self._another_way:
            if self._at_end or self._idle > _MOST_IDLE:
                break
        return self.outcome

    async def _tried(self) -> bool:
        """One question, booked; whether it was answered."""
        self._another_way = False
        try:
            await self._ask()
        except NothingToFollow as problem:
            self._start_over()
            await self._tell("stopped", problem.sentence)
        except FeedProblem as problem:
            self._another_way = self._follower.failed(problem)
            if isinstance(problem, NotBooked):
                self._start_over()
            await self._tell("waiting", problem.sentence)
        except Exception as problem:
            _LOG.exception("reading %s failed", self._source.machine)
            self._start_over()
            failed = sentence(
                "Reading the agent failed: {problem}.", problem=repr(problem)[:200]
            )
            await self._tell("waiting", failed)
        else:
            return True
        return False

    def _start_over(self) -> None:
        self._follower = self._new_follower()
        self._at_end = False

    async def _ask(self) -> None:
        ready = self._pace.stream and asyncio.get_running_loop().time() >= self._streams_from
        if ready and self._at_end and self._follower.ask is Ask.SAMPLE:
            await self._stream()
            return
        async with self._agent.asked(self._follower.request()) as answer:
            document = await answer.whole()
        await self._take([document])

    async def _stream(self) -> None:
        """Read a stream; an agent that answers with none is asked for a while."""
        document, some = None, False
        request = self._follower.request(max(1, int(self._pace.poll_s * 1000)))
        try:
            async with self._agent.asked(request, stream=True) as answer:
                if answer.is_stream:
                    async with aclosing(answer.batches()) as batches:
                        async for documents in batches:
                            some = True
                            await self._take(documents)
                            if self._follower.ask is not Ask.SAMPLE:
                                break
                else:
                    document = await answer.whole()
        finally:
            self._rest_from_streams(some)
        if document is not None and not _refuses_streams(document):
            await self._take([document])

    def _rest_from_streams(self, some: bool) -> None:
        if some:
            self._stream_pause_s = self._pace.stream_again_s
            return
        self._streams_from = asyncio.get_running_loop().time() + self._stream_pause_s
        self._stream_pause_s = min(2 * self._stream_pause_s, _STREAM_AT_LAST_S)

    async def _take(self, documents: list[Document]) -> None:
        """Book what documents of one answer say; those up to a gap at once."""
        heard_at = self._clock()
        news: FeedNews | None = None
        time = self._time
        for document in documents:
            # at the end already: what comes now is new; what an agent holds may be of any age
            sampled = self._at_end and self._follower.ask is Ask.SAMPLE
            live_since, self._asked_at = (self._asked_at if sampled else None), heard_at
            try:
                step = self._follower.take(document, heard_at)
            except FeedProblem:
                if news is not None:  # the follower is past it already
                    await self._book(news, time)
                raise
            if isinstance(document, Devices):
                self._tell_followed()
                continue  # described is not yet read
            self._at_end = step.at_end and self._follower.ask is Ask.SAMPLE
            advanced = step.place is not None and step.place != self._reached
            self._idle = 0 if advanced else self._idle + 1
            self._reached = step.place or self._reached
            self._tell_skipped(step.skipped)
            problem = clock_words(document.header, heard_at) or self._follower.problem
            more = self._news(step, heard_at, problem)
            off = self._machine_clock.look(more.instants(), heard_at, live_since)
            more = replace(more, clock_off=off)
            if news is not None and more.gap is not None:
                await self._book(news, time)
                news = None
            news = more if news is None else _both(news, more)
            time = step.time or time
            if self._follower.ask is not Ask.SAMPLE:
                break  # what follows belongs to another question
        if news is not None:
            await self._book(news, time)

    async def _book(self, news: FeedNews, time: MachineTime) -> None:
        now = asyncio.get_running_loop().time()
        new = news.tells_something or not _alike((news.state, news.problem), self._told)
        if new or now - self._heard_booked >= _HEARD_EVERY_S:
            await self._booker.book(news)
            self._heard_booked, self._time = now, time
            if news.place is not None:
                self._booked = Place(*news.place)
            for one in news.states:
                if one.kind == "TOOL_NUMBER":
                    self._tools[one.path] = one.text
            if news.conditions is not None:
                self._conditions = news.conditions
        self.outcome.counts += len(news.counts)
        self._mention(news.state, news.problem)

    def _tell_followed(self) -> None:
        found = self._follower.followed
        if found is None:
            return
        others = together(", ", map(item_words, found.others))
        counts = together(", ", (item_words(item) for item in found.counts))
        nameless = sentence("without a name")
        words = sentence(
            "follows {counts} of device {device}",
            counts=counts,
            device=found.device or nameless,
        )
        words += (
            sentence("; not followed: {others} (count_item names another)", others=others)
            if others
            else ""
        )
        if words != self._followed_told:
            self._followed_told = words
            _LOG.info("%s: %s", self._source.machine, words)

    def _tell_skipped(self, number: int) -> None:
        if number and not self._skipped_told:
            self._skipped_told = True
            _LOG.warning(
                "%s: %d observations without an instant or a number were left out",
                self._source.machine,
                number,
            )

    def _news(self, step: Step, heard_at: datetime, problem: str | None) -> FeedNews:
        place = step.place
        return FeedNews(
            self._source.machine,
            "mtconnect",
            heard_at,
            step.counts,
            step.states,
            None if place is None else (place.instance_id, place.next_sequence),
            step.gap,
            problem=problem,
            breakages=step.breakages,
            device=self._device(),
            conditions=None if step.conditions == self._conditions else step.conditions,
            lacks_us=None if step.time is None else step.time.lacks_us,
        )

    def _device(self) -> str | None:
        found = self._follower.followed
        return found.uuid if found and found.uuid else None

    @property
    def _told(self) -> tuple[str, str | None]:
        return self.outcome.state, self.outcome.problem

    async def _tell(self, state: str, problem: str) -> None:
        """Book why it cannot be read, once; the place stays."""
        self._at_end = False
        if _alike(self._told, (state, problem)):
            return
        try:
            await self._booker.book(
                FeedNews(self._source.machine, "mtconnect", None, state=state, problem=problem)
            )
        except NotBooked as refused:
            problem = together(" ", (problem, refused.sentence))
        self._mention(state, problem)

    def _mention(self, state: str, problem: str | None) -> None:
        if not _alike(self._told, (state, problem)):
            _LOG.info("%s: %s%s", self._source.machine, state, f": {problem}" * bool(problem))
        self.outcome.state, self.outcome.problem = state, problem


def _refuses_streams(document: Document) -> bool:
    if not isinstance(document, Errors):
        return False
    words = " ".join(one.text for one in document.errors)
    return not document.says("OUT_OF_RANGE") or "interval" in words or "heartbeat" in words


def item_words(item: DataItem) -> str:
    """A part count as a person trying out an agent recognises it."""
    more = " ".join(part for part in (item.sub_type, item.path) if part)
    called = item.name or item.item_id
    return (
        sentence("part count {called} ({more})", called=called, more=more)
        if more
        else sentence("part count {called}", called=called)
    )


def clock_words(header: Header, heard_at: datetime) -> str | None:
    """What is to be said of the agent's clock; None where it is about right."""
    if header.created_at is None:
        return None
    off_s = (header.created_at - heard_at).total_seconds()
    if abs(off_s) <= _CLOCK_OFF_S:
        return None
    side = sentence("ahead of") if off_s > 0 else sentence("behind")
    return sentence(
        "The agent's clock is {off_s} min {side} ours: set it right, or counts seem "
        "to be made at another time.",
        off_s=figure(abs(off_s) / 60, ".0f"),
        side=side,
    )


def _both(news: FeedNews, more: FeedNews) -> FeedNews:
    """News and those that came after them, without a gap in between."""
    return replace(
        more,
        counts=[*news.counts, *more.counts],
        states=[*news.states, *more.states],
        breakages=[*news.breakages, *more.breakages],
        conditions=news.conditions if more.conditions is None else more.conditions,
        place=more.place or news.place,
        clock_off=news.clock_off if more.clock_off is None else more.clock_off,
        gap=news.gap,
        lacks_us=news.lacks_us if more.lacks_us is None else more.lacks_us,
    )


def _alike(one: tuple[str, str | None], other: tuple[str, str | None]) -> bool:
    """Whether two states say the same but for their figures."""
    return one[0] == other[0] and _bare(one[1]) == _bare(other[1])


def _bare(text: str | None) -> str | None:
    return None if text is None else re.sub(r"\d+", "", text)
