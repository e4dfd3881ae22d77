"""The one writer of all feeds: what many machines said, booked in one transaction.

Nothing is lost where the database takes nothing for a while: the same news are booked again
until it does, and their reader waits.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from crib.acts.book_feed import FeedNews, book_feed
from crib.acts.book_going_on import WORTH_IT, book_going_on
from crib.acts.report_counts import MOST_READINGS
from crib.clock import Clock, print_instant
from crib.errors import Refusal, StoreBusy, StoreFull
from crib.feed.problems import NotBooked, WriterEnded
from crib.sentence import sentence
from crib.store.engine import Store, Tx
from crib.store.savepoint import is_failure_to_write, savepoint

T = TypeVar("T")

_LOG = logging.getLogger("crib.feed")
#: Longest that news wait for others to be booked with [s].
_MOST_S = 0.5
#: No news for so long: what there is, is booked [s].
_SETTLED_S = 0.01
_MOST_NEWS = 2000
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 1.0, 30.0


class Booker(Protocol):
    """A consumer of what feeds bring."""

    async def book(self, news: FeedNews) -> None:
        """Take it in; returns when it is kept for good.

        Raises:
            NotBooked: It was refused, or the writer ends before it could write.
        """


@dataclass(slots=True)
class _Waiting:
    news: FeedNews
    done: asyncio.Future[None]


class Writer:
    """Books what feeds bring.

    Args:
        store: The database.
        clock: Tells the time.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store, self._clock = store, clock
        self._queue: asyncio.Queue[_Waiting] = asyncio.Queue()
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="feed-writer")
        self._ending = asyncio.Event()
        self._problem: str | None = None

    @property
    def problem(self) -> str | None:
        """Why the database takes nothing now, in a sentence; None where it does."""
        return self._problem

    async def book(self, news: FeedNews) -> None:
        """See ``Booker.book``."""
        waiting = _Waiting(news, asyncio.get_running_loop().create_future())
        await self._queue.put(waiting)
        await waiting.done

    async def write(self, work: Callable[[Tx], T]) -> T:
        """Do work in a transaction of its own, between those of the news."""

        def write() -> T:
            with self._store.write() as tx:
                return work(tx)

        return await asyncio.get_running_loop().run_in_executor(self._thread, write)

    async def read(self, work: Callable[[Tx], T]) -> T:
        """Do work on a view of the database, outside of the event loop."""

        def read() -> T:
            with self._store.read() as tx:
                return work(tx)

        return await asyncio.to_thread(read)

    async def run(self) -> None:
        """Write until stopped; what is queued by then is tried once more."""
        while not (self._ending.is_set() and self._queue.empty()):
            batch = await self._gathered()
            if batch:
                await self._insist(batch)
        self._thread.shutdown(wait=True)

    def end(self) -> None:
        """Let ``run`` return soon."""
        self._ending.set()

    async def _gathered(self) -> list[_Waiting]:
        """News that come within a moment of each other."""
        batch: list[_Waiting] = []
        until = 0.0
        loop = asyncio.get_running_loop()
        while len(batch) < _MOST_NEWS:
            pause = min(_SETTLED_S, until - loop.time()) if batch else 0.2
            if pause <= 0:
                break
            try:
                async with asyncio.timeout(pause):
                    batch.append(await self._queue.get())
            except TimeoutError:
                break
            if len(batch) == 1:
                until = loop.time() + _MOST_S
            while not self._queue.empty() and len(batch) < _MOST_NEWS:
                batch.append(self._queue.get_nowait())
        return batch

    async def _insist(self, batch: list[_Waiting]) -> None:
        pause = _FIRST_PAUSE_S
        loop = asyncio.get_running_loop()
        batch = [one for one in batch if not one.done.done()]
        parts = _joined(batch)
        while True:
            try:
                news = [part[0].news for part in parts]
                outcome = await loop.run_in_executor(self._thread, self._commit, news)
            except Exception as problem:
                if not is_failure_to_write(problem):
                    raise
                self._tell_failure(problem)
                if self._ending.is_set():
                    _settle(
                        parts,
                        [WriterEnded(sentence("The database accepted nothing."))] * len(parts),
                    )
                    return
                await self._rest(pause)
                pause = min(2 * pause, _LONGEST_PAUSE_S)
                continue
            if self._problem is not None:
                _LOG.warning("the database takes news again")
                self._problem = None
            _settle(parts, outcome)
            return

    async def _rest(self, pause_s: float) -> None:
        try:
            async with asyncio.timeout(pause_s):
                await self._ending.wait()
        except TimeoutError:
            return

    def _tell_failure(self, problem: Exception) -> None:
        if self._problem is not None:
            return
        _LOG.warning("nothing can be written (nothing is lost, tried again): %s", problem)
        self._problem = sentence(
            "'crib feed' could not write since {self_}: {why_not}. Nothing is lost yet: it "
            "keeps trying.",
            self_=print_instant(self._clock()),
            why_not=_why_not(problem),
        )

    def _commit(self, batch: Sequence[FeedNews]) -> list[NotBooked | None]:
        tells = any(news.tells_something for news in batch)
        with self._store.write() if tells else self._store.note() as tx:
            done = self._book_at_once(tx, batch)
            return [
                None if booked else self._book(tx, news)
                for news, booked in zip(batch, done, strict=True)
            ]

    def _book_at_once(self, tx: Tx, batch: Sequence[FeedNews]) -> list[bool]:
        """What many machines said alike; whatever is refused here is booked one by one."""
        if len(batch) < WORTH_IT:
            return [False] * len(batch)
        try:
            with savepoint(tx):
                return book_going_on(tx, self._clock(), batch)
        except Exception as problem:
            if is_failure_to_write(problem):
                raise
            _LOG.exception("news of %d machines could not be booked at once", len(batch))
            return [False] * len(batch)

    def _book(self, tx: Tx, news: FeedNews) -> NotBooked | None:
        try:
            with savepoint(tx):
                for part in _bounded(news):
                    book_feed(tx, self._clock(), part)
        except Refusal as refusal:
            if is_failure_to_write(refusal):
                raise
            return NotBooked(refusal.sentence)
        except Exception as problem:
            if is_failure_to_write(problem):
                raise
            _LOG.exception("what %s said could not be booked", news.machine)
            return NotBooked(
                sentence(
                    "What the machine said could not be booked: {problem}.",
                    problem=repr(problem)[:200],
                )
            )
        return None


def _why_not(problem: Exception) -> str:
    if isinstance(problem, StoreFull):
        return sentence("the disk is full, free some space")
    if isinstance(problem, StoreBusy):
        return sentence("another program has locked the database, end it")
    return str(problem).partition("\n")[0][:200].rstrip(".")


def _bounded(news: FeedNews) -> list[FeedNews]:
    """News in parts that are taken at once; the place comes with the last one."""
    starts = range(0, len(news.counts), MOST_READINGS)
    if len(starts) <= 1:
        return [news]
    parts = [
        replace(news, counts=news.counts[start : start + MOST_READINGS], states=(), gap=None)
        for start in starts
    ]
    earlier = [replace(part, place=None) for part in parts[:-1]]
    return [*earlier, replace(parts[-1], states=news.states, gap=news.gap)]


def _joined(batch: list[_Waiting]) -> list[list[_Waiting]]:
    """Plain news of one machine merged into one: a broker sends each reading alone."""
    parts: list[list[_Waiting]] = []
    open_parts: dict[str, list[_Waiting]] = {}
    for one in batch:
        news = one.news
        plain = news.place is None and news.gap is None and news.problem is None
        part = open_parts.get(news.machine)
        if part is None or not plain or part[0].news.source != news.source:
            part = [one]
            parts.append(part)
        else:
            first = part[0].news
            part[0].news = replace(
                first,
                heard_at=news.heard_at or first.heard_at,
                counts=[*first.counts, *news.counts],
                states=[*first.states, *news.states],
                breakages=[*first.breakages, *news.breakages],
                clock_off=first.clock_off if news.clock_off is None else news.clock_off,
            )
            part.append(one)
        if plain:
            open_parts[news.machine] = part
        else:
            open_parts.pop(news.machine, None)
    return parts


def _settle(parts: list[list[_Waiting]], outcome: Sequence[NotBooked | None]) -> None:
    for part, problem in zip(parts, outcome, strict=True):
        for one in part:
            if one.done.done():
                continue  # whoever waited was told to end
            if problem is None:
                one.done.set_result(None)
            else:
                one.done.set_exception(problem)
