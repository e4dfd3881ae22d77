"""All feeds of a shop in one process: machines join and leave, one writer books for all."""

from __future__ import annotations

import asyncio
import fcntl
import logging
import os
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from typing import Any
from urllib.parse import quote

import aiohttp

from crib.clock import Clock
from crib.errors import NotKnown, Refusal
from crib.feed.agents import Kept, MachineFeed, Outcome, Pace, Source
from crib.feed.asking import Agent, Limits, agents_session
from crib.feed.beating import Heart
from crib.feed.documents import Devices, Document
from crib.feed.follower import Place
from crib.feed.problems import FeedProblem
from crib.feed.writer import Booker, Writer
from crib.records.catalogue import MACHINES
from crib.sentence import sentence
from crib.store.engine import Store, Tx
from crib.store.feeds import active_conditions, list_feeds
from crib.store.heard_rows import states_now
from crib.store.last_counts import counted_last
from crib.store.records import list_records

_LOG = logging.getLogger("crib.feed")
#: Threads that look up names and read large answers; a name that hangs holds one of them.
_THREADS = 64

#: Another way in that runs beside the agents until it is cancelled.
Beside = Callable[[Writer], Coroutine[Any, Any, None]]


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """What is followed, and how.

    Attributes:
        machine: Only this machine; None for all that have a feed_url.
        url: Address to use in the place of that machine's feed_url.
        pace: How often agents are asked.
        limits: How long and how large answers may be.
        reread_s: The machines are read again this often [s].
        beside: Other ways in: a broker, a folder.
        beat_s: The process says this often that it lives [s].
        zone: Zone of times that machines tell without an offset.
    """

    machine: str | None = None
    url: str | None = field(default=None, repr=False)
    pace: Pace = field(default_factory=Pace)
    limits: Limits = field(default_factory=Limits)
    reread_s: float = 60.0
    beside: tuple[Beside, ...] = ()
    zone: tzinfo = UTC
    beat_s: float = 5.0


Followed = tuple[Source, Kept]


def machines_to_follow(tx: Tx, plan: FeedPlan) -> list[Followed]:
    """Machines with an agent, and how far each was read.

    Raises:
        NotKnown: The one machine that is asked for is not there.
        Refusal: It has no agent's address.
    """
    feeds = list_feeds(tx)
    lacks_us = {row.machine: row.lacks_us for row in feeds}
    counted = counted_last(tx)
    places = {
        row.machine: Place(row.instance_id, row.next_sequence)
        for row in feeds
        if row.instance_id is not None and row.next_sequence is not None
    }
    states, active = states_now(tx), active_conditions(tx)
    found: list[Followed] = []
    rows = list_records(tx, MACHINES)
    if plan.machine is not None:
        rows = [row for row in rows if row["machine"] == plan.machine]
        if not rows:
            raise NotKnown(
                sentence("There is no machine called {machine}.", machine=plan.machine)
            )
    for row in rows:
        name, url = str(row["machine"]), plan.url or row["feed_url"] or ""
        if url.lower().startswith(("http://", "https://")):
            names = ("count_item", "breakage_signals", "path_counters")
            source = Source(name, url, *(row[column] for column in names))
            tools = {
                one.path: one.value
                for one in states.get(row["id"], ())
                if one.kind == "TOOL_NUMBER"
            }
            conditions = frozenset(active.get(row["id"], ()))
            clock = lacks_us.get(name, 0), counted.get(name, {})
            kept = Kept(places.get(name), tools, conditions, *clock)
            found.append((source, kept))
    if plan.machine is not None and not found:
        raise Refusal(
            sentence(
                "Machine {machine} has no feed_url of an agent: give it one, such as "
                "http://HOST:5000, or --agent URL.",
                machine=plan.machine,
            )
        )
    return found


@contextmanager
def only_one(store: Store) -> Iterator[None]:
    """Hold the right to follow a shop; it goes with the process.

    Raises:
        Refusal: Another process follows it already.
    """
    if store.path is None:
        yield
        return
    descriptor = os.open(f"{store.path}-feed-lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Refusal(
                sentence(
                    "Another process follows the machines of this database already; "
                    "stop it first."
                )
            ) from None
        yield
    finally:
        os.close(descriptor)


async def follow_all(
    store: Store,
    clock: Clock,
    plan: FeedPlan,
    stop: asyncio.Event,
    booker: Booker | None = None,
) -> None:
    """Follow the shop's machines until stopped; what came by then is booked.

    Args:
        store: The database.
        clock: Tells the time.
        plan: What is followed, and how.
        stop: Set when it is to end.
        booker: Takes in what machines say in the place of the database.
    """
    async with (
        _writing(store, clock) as writer,
        agents_session() as session,
        asyncio.TaskGroup() as group,
    ):
        tasks = [group.create_task(beside(writer)) for beside in plan.beside]
        shop = _Shop(session, writer, booker or writer, clock, plan, group)
        tasks.append(group.create_task(shop.keep()))
        if store.path is not None and booker is None:
            heart = Heart(store.path, clock, plan.machine, lambda: writer.problem)
            tasks.append(group.create_task(heart.beat(plan.beat_s)))
        await stop.wait()
        for task in [*tasks, *shop.tasks.values()]:
            task.cancel()


async def read_once(
    store: Store, clock: Clock, plan: FeedPlan, booker: Booker | None = None
) -> list[Outcome]:
    """Ask every machine once, up to the present end; what came of each."""
    async with _writing(store, clock) as writer:
        machines = await writer.read(lambda tx: machines_to_follow(tx, plan))
        return await ask_once(machines, booker or writer, clock, plan)


async def ask_once(
    machines: list[Followed], booker: Booker, clock: Clock, plan: FeedPlan
) -> list[Outcome]:
    """Ask machines once, all at the same time."""
    async with agents_session() as session:
        feeds = [_feed(one, session, booker, clock, plan) for one in machines]
        return list(await asyncio.gather(*(feed.read_once() for feed in feeds)))


async def watch(
    sources: list[Source], booker: Booker, clock: Clock, plan: FeedPlan, stop: asyncio.Event
) -> None:
    """Follow agents that belong to no shop until stopped."""
    async with agents_session() as session, asyncio.TaskGroup() as group:
        feeds = [_feed((one, Kept()), session, booker, clock, plan) for one in sources]
        tasks = [group.create_task(feed.follow()) for feed in feeds]
        await stop.wait()
        for task in tasks:
            task.cancel()


async def devices_of(url: str, plan: FeedPlan) -> list[Source]:
    """Each device of an agent that belongs to no shop.

    An agent with one device, or none that can be read now, is one source called agent.
    """
    found: Document | None = None
    async with agents_session() as session:
        agent = Agent(session, url, plan.limits)
        try:
            async with agent.asked("/probe") as answer:
                found = await answer.whole()
        except FeedProblem as problem:
            _LOG.debug("%s cannot be read yet: %s", _without_password(url), problem)
    names = (
        [one.name or one.uuid for one in found.devices] if isinstance(found, Devices) else []
    )
    if len(names) < 2:
        return [Source("agent", url)]
    return [Source(name, f"{agent.address}/{quote(name, safe='')}") for name in names if name]


def _feed(
    one: Followed,
    session: aiohttp.ClientSession,
    booker: Booker,
    clock: Clock,
    plan: FeedPlan,
) -> MachineFeed:
    source, kept = one
    return MachineFeed(source, kept, session, booker, clock, plan.pace, plan.limits, plan.zone)


@asynccontextmanager
async def _writing(store: Store, clock: Clock) -> AsyncIterator[Writer]:
    asyncio.get_running_loop().set_default_executor(ThreadPoolExecutor(_THREADS))
    writer = Writer(store, clock)
    async with asyncio.TaskGroup() as group:
        group.create_task(writer.run())
        try:
            yield writer
        finally:
            writer.end()


class _Shop:
    """The machines that are followed now."""

    def __init__(
        self,
        session: aiohttp.ClientSession,
        writer: Writer,
        booker: Booker,
        clock: Clock,
        plan: FeedPlan,
        group: asyncio.TaskGroup,
    ) -> None:
        self._session, self._writer, self._booker = session, writer, booker
        self._clock = clock
        self._plan, self._group = plan, group
        self.tasks: dict[Source, asyncio.Task[None]] = {}

    async def keep(self) -> None:
        """Look again and again which machines there are."""
        first = True
        while True:
            try:
                found = await self._writer.read(lambda tx: machines_to_follow(tx, self._plan))
            except Exception as problem:
                if first or isinstance(problem, Refusal):
                    raise
                _LOG.warning("the machines cannot be read, tried again: %s", problem)
            else:
                await self._change(found)
                if first and not found and not self._plan.beside:
                    _LOG.warning("no machine has a feed_url yet; looking again now and then")
                first = False
            await asyncio.sleep(self._plan.reread_s)

    async def _change(self, found: list[Followed]) -> None:
        wanted = dict(found)
        for source in [source for source in self.tasks if source not in wanted]:
            task = self.tasks.pop(source)
            task.cancel()
            await asyncio.wait([task])
            _LOG.info("%s: left", source.machine)
        for source, kept in wanted.items():
            if source not in self.tasks:
                _LOG.info("%s: joined, %s", source.machine, _without_password(source.url))
                feed = _feed(
                    (source, kept), self._session, self._booker, self._clock, self._plan
                )
                self.tasks[source] = self._group.create_task(feed.follow())


def _without_password(url: str) -> str:
    scheme, mark, rest = url.partition("://")
    return scheme + mark + rest.rpartition("@")[2]
