"""The real runner beside a test, and what it has booked."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from types import SimpleNamespace

import pytest

from crib.clock import now
from crib.feed.agents import Pace
from crib.feed.asking import Limits
from crib.feed.runner import FeedPlan, follow_all
from crib.records.catalogue import MACHINES
from crib.store.engine import Store
from crib.store.feeds import FeedRow, GapRow, list_feeds, list_gaps
from crib.store.records import get_record, update_record
from tests.agents import ScriptedAgent, serving

#: Quick enough for a test, slow enough for a busy machine.
PLAN = FeedPlan(
    pace=Pace(poll_s=0.05, first_pause_s=0.05),
    limits=Limits(connect_s=2.0, pause_s=1.0, answer_s=2.0, most_bytes=1_000_000),
    reread_s=0.2,
)


@contextmanager
def running(store: Store, plan: FeedPlan = PLAN) -> Iterator[None]:
    """The runner in a thread of its own, ended as a signal would end it."""
    ready, told = threading.Event(), SimpleNamespace(loop=None, stop=None)
    broken: list[BaseException] = []

    async def run() -> None:
        told.loop, told.stop = asyncio.get_running_loop(), asyncio.Event()
        ready.set()
        await follow_all(store, now, plan, told.stop)

    def thread() -> None:
        try:
            asyncio.run(run())
        except BaseException as problem:
            broken.append(problem)

    runner = threading.Thread(target=thread)
    runner.start()
    assert ready.wait(300)
    try:
        yield
    finally:
        told.loop.call_soon_threadsafe(told.stop.set)
        runner.join(300)
    assert not runner.is_alive()
    if broken:
        raise broken[0]


def wait_until(what: Callable[[], object], seconds: float = 300.0) -> None:
    """Wait until something is so; an assertion error when it never is."""
    until = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until, "it never came"
        time.sleep(0.02)


class Booked:
    """What is in the database by now."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def counts(self, machine: str = "M1") -> list[int]:
        """Counts in order of their instants."""
        return [row[0] for row in self._rows(machine)]

    def parts(self, machine: str = "M1") -> int:
        """Parts made since the first count."""
        rows = self._rows(machine)
        return rows[-1][1] - rows[0][1] if rows else 0

    def kept_aside(self) -> list[str]:
        """Reasons why counts were kept aside."""
        with self._store.read() as tx:
            return list(tx.exec_driver_sql("SELECT reason FROM count_refusals").scalars())

    def feed(self, machine: str = "M1") -> FeedRow | None:
        """The feed of a machine."""
        with self._store.read() as tx:
            return next((row for row in list_feeds(tx) if row.machine == machine), None)

    def gaps(self) -> list[GapRow]:
        """Gaps, the last one first."""
        with self._store.read() as tx:
            return list_gaps(tx)

    def _rows(self, machine: str) -> list[tuple[int, int]]:
        with self._store.read() as tx:
            rows = tx.exec_driver_sql(
                "SELECT count, total FROM count_readings WHERE machine_id ="
                " (SELECT id FROM machines WHERE machine = ?) ORDER BY at",
                (machine,),
            )
            return [(row[0], row[1]) for row in rows]


@pytest.fixture
def booked(store: Store, shop: SimpleNamespace) -> Booked:
    """What the small shop's database holds."""
    return Booked(store)


@pytest.fixture
def point(store: Store, shop: SimpleNamespace) -> Callable[[str, str | None], None]:
    """Give a machine the address of its agent."""

    def give(machine: str, url: str | None) -> None:
        with store.write() as tx:
            row = get_record(tx, MACHINES, machine)
            update_record(tx, MACHINES, row["id"], {"feed_url": url})

    return give


@pytest.fixture
def agent(point: Callable[[str, str | None], None]) -> Iterator[ScriptedAgent]:
    """The agent of M1."""
    with serving(ScriptedAgent()) as served:
        point("M1", served.url)
        yield served


@pytest.fixture
def agents() -> Iterator[Callable[[], ScriptedAgent]]:
    """More agents, all ended with the test."""
    with ExitStack() as all_of_them:
        yield lambda: all_of_them.enter_context(serving(ScriptedAgent()))
