"""Counts that machines push to an MQTT broker: each message confirmed when it is booked.

The session is persistent and messages come with quality 1: the broker keeps what was not
confirmed and sends it again, which changes nothing since counts are absolute. A message that
does not tell when it was made is dated by its arrival, so that of those only what comes for the
first time, or does not go back, is believed.
"""

from __future__ import annotations

import asyncio
import hashlib
import logging
import socket
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TypeVar

from paho.mqtt import client as mqtt

from crib.acts.book_feed import FeedNews, GapNews
from crib.clock import Clock
from crib.feed.backlog import Backlog
from crib.feed.broker_address import BrokerAddress
from crib.feed.broker_session import Arrived, Connected, Session
from crib.feed.broker_state import FOLLOWING, BrokerState, machines_concerned
from crib.feed.machine_clock import MachineClock
from crib.feed.problems import NotBooked, WriterEnded
from crib.feed.topic_map import Garbled, Message, TopicMap
from crib.feed.writer import Writer
from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.feeds import list_feeds, see_session
from crib.store.last_counts import last_count
from crib.store.savepoint import is_failure_to_write

T = TypeVar("T")

_LOG = logging.getLogger("crib.feed")
_LARGEST = 256 * 1024
_TELL_EVERY = 1000
#: Breakages have a session of their own: no number of counts fills its queue at the broker.
_OF_BREAKAGES = "-breakages"
_WORSE = ("following", "waiting", "stopped")


class BrokerFeed:
    """Subscribes to what a map names, and books it.

    Args:
        address: Where the broker is.
        topics: What its messages mean.
        name: Tells this shop's session from others at the broker.
        writer: Books.
        clock: Tells the time.
    """

    def __init__(
        self, address: BrokerAddress, topics: TopicMap, name: str, writer: Writer, clock: Clock
    ) -> None:
        self._address, self._topics = address, topics
        self._local_told = False
        self._writer, self._clock = writer, clock
        self._arrived: asyncio.Queue[tuple[Session, Arrived]] = asyncio.Queue()
        #: Messages that meant nothing, by reason.
        self.garbled: Counter[str] = Counter()
        self._booking: set[asyncio.Task[None]] = set()
        watch = list(dict.fromkeys(one.subscription for one in topics.rules if one.watches))
        rest = [one.subscription for one in topics.rules if one.subscription not in watch]
        named = {name: rest, f"{name}{_OF_BREAKAGES}": watch} if rest else {name: watch}
        self._sessions = [
            Session(address, one, mine, [*watch, *rest], self._arrived)
            for one, mine in named.items()
            if mine
        ]
        self._backlogs = {one: Backlog() for one in self._sessions}
        self._states: dict[Session, BrokerState] = {}
        self._told: BrokerState | None = None
        self._clocks: dict[str, MachineClock] = {}

    async def run(self) -> None:
        """Take in messages until cancelled."""
        for session in self._sessions:
            session.begin()
        try:
            while True:
                session, arrived = await self._arrived.get()
                if isinstance(arrived, BrokerState):
                    await self._hear(session, arrived)
                elif isinstance(arrived, Connected):
                    await self._connected(session, arrived)
                else:
                    await self._take(session, arrived)
        finally:
            for task in self._booking:
                task.cancel()
            for session in self._sessions:
                await session.end()

    async def _hear(self, session: Session, state: BrokerState) -> None:
        """Tell the worst of the sessions, once all have said how it goes."""
        self._states[session] = state
        worst = max((one.state for one in self._states.values()), key=_WORSE.index)
        problems = {one.problem: 0 for one in self._states.values() if one.state == worst}
        told = [problem for problem in problems if problem is not None]
        whole = BrokerState(worst, together(" ", told) if told else None)
        known = len(self._states) == len(self._sessions)
        if (known or whole != FOLLOWING) and whole != self._told:
            self._told = whole
            await self._tell(whole)

    async def _connected(self, session: Session, how: Connected) -> None:
        """Tell a gap where the broker had forgotten us."""
        at = self._clock()
        before = await self._insist(
            lambda: self._writer.write(lambda tx: see_session(tx, session.name, at))
        )
        self._backlogs[session].begin(at, counted=bool(before) and how.kept)
        if before and not how.kept:
            await self._miss(session, "session")

    async def _miss(self, session: Session, reason: str) -> None:
        """Book that something may be missing of every machine that the broker speaks for."""
        if len(self._sessions) > 1 and session is self._sessions[-1]:
            reason = f"breakages_{reason}"
        _LOG.warning("broker %s: a gap: %s", self._address.where, reason)
        machines = await self._read(
            lambda tx: [one.machine for one in list_feeds(tx) if one.source == "mqtt"]
        )
        for machine in machines:
            news = FeedNews(machine, "mqtt", self._clock(), gap=GapNews(reason))
            try:
                await self._writer.book(news)
            except NotBooked as why:
                _LOG.warning("broker %s: no gap was booked: %s", self._address.where, why)

    async def _tell(self, state: BrokerState) -> None:
        """Say how it stands with the broker, in the feeds of its machines too."""
        _LOG.info("broker %s: %s", self._address.where, state.problem or state.state)
        named = [name for rule in self._topics.rules for name in rule.machines.values()]
        try:
            machines = await self._read(lambda tx: machines_concerned(tx, named, state))
            for machine in machines:
                news = FeedNews(machine, "mqtt", None, state=state.state, problem=state.problem)
                await self._writer.book(news)
        except NotBooked as why:
            _LOG.warning("broker %s: this could not be booked: %s", self._address.where, why)

    def _of_site_words(self) -> str:
        words = sentence(
            "Its messages give times without an offset: taken as {zone} time.",
            zone=self._topics.zone,
        )
        if not self._local_told:
            self._local_told = True
            _LOG.warning("broker %s: %s", self._address.where, words)
        return words

    async def _take(self, session: Session, message: mqtt.MQTTMessage) -> None:
        """Start to book a message; those that come together are booked together."""
        heard_at = self._clock()
        news = None
        try:
            if len(message.payload) > _LARGEST:
                raise Garbled(sentence("it is larger than {largest} bytes", largest=_LARGEST))
            told = self._topics.read(message.topic, bytes(message.payload), heard_at)
            if await self._is_old(session, told, message):
                raise Garbled(sentence("it came again with an older count"), told.machine)
            news = FeedNews(
                told.machine,
                "mqtt",
                heard_at,
                [
                    replace(one, source=f"{self._address.where} {one.source}")
                    for one in told.counts
                ],
                told.states,
                breakages=told.breakages,
                problem=self._of_site_words() if told.local else None,
            )
        except Garbled as garbled:
            self._keep_aside(str(garbled), message)
            if garbled.machine is None:
                session.confirm(message)
                return
            news = FeedNews(
                garbled.machine,
                "mqtt",
                heard_at,
                problem=sentence("A message was skipped: {garbled}.", garbled=garbled),
            )
        backlog = self._backlogs[session]
        dated = max(news.instants(), default=None)
        if not message.retain and backlog.may_be_cut(heard_at, dated):
            await self._miss(session, "queue")
        live = backlog.is_over and not message.retain and not message.dup
        clock = self._clocks.setdefault(news.machine, MachineClock())
        off = clock.look(news.instants(), heard_at, heard_at if live else None)
        news = replace(news, clock_off=off)
        task = asyncio.create_task(self._book(session, news, message))
        self._booking.add(task)
        task.add_done_callback(self._booking.discard)

    async def _book(self, session: Session, news: FeedNews, message: mqtt.MQTTMessage) -> None:
        try:
            await self._writer.book(news)
        except WriterEnded:
            return  # not confirmed: the broker sends it again
        except NotBooked as refused:
            self._keep_aside(str(refused), message)
        session.confirm(message)

    async def _is_old(self, session: Session, told: Message, message: mqtt.MQTTMessage) -> bool:
        """Whether an undated message may speak of the past."""
        if told.dated or not told.counts:
            return False
        if message.retain:
            # a session that was kept brings all that was said since
            return session.kept
        if not message.dup:
            return False
        last = await self._read(lambda tx: last_count(tx, told.machine, told.counts[0].path))
        text = told.counts[0].text
        return last is not None and (not text.isdecimal() or int(text) < last)

    async def _read(self, work: Callable[[Tx], T]) -> T:
        """Look into the database; waits where that cannot be read for a while."""
        return await self._insist(lambda: self._writer.read(work))

    async def _insist(self, attempt: Callable[[], Awaitable[T]]) -> T:
        while True:
            try:
                return await attempt()
            except Exception as problem:
                if not is_failure_to_write(problem):
                    raise
                _LOG.warning("the database does not answer, tried again: %s", problem)
            await asyncio.sleep(1.0)

    def _keep_aside(self, why: str, message: mqtt.MQTTMessage) -> None:
        self.garbled[why] += 1
        number = self.garbled[why]
        if number == 1 or number % _TELL_EVERY == 0:
            _LOG.warning(
                "message on %s left out, the %d. of this kind: %s: %.120r",
                message.topic[:100],
                number,
                why,
                message.payload,
            )


def session_name(store_path: object) -> str:
    """A name of this shop's session that stays the same from start to start."""
    text = f"{socket.gethostname()} {store_path}"
    return "crib-feed-" + hashlib.sha256(text.encode()).hexdigest()[:12]
