"""Many machines at once: one that hangs and one that drips bytes keep no other waiting."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from types import SimpleNamespace

from crib.records.catalogue import MACHINES
from crib.store.engine import Store
from crib.store.records import insert_record
from tests.agents import ScriptedAgent, serving
from tests.feed.conftest import PLAN, Booked, running, wait_until

#: Slow enough for fifty agents on a small machine, patient enough for none to be given up.
_PLAN = replace(
    PLAN,
    pace=replace(PLAN.pace, poll_s=0.5),
    limits=replace(PLAN.limits, pause_s=60.0, answer_s=60.0),
)


def test_one_that_hangs_and_one_that_drips_delay_none_of_fifty(
    store: Store, shop: SimpleNamespace, booked: Booked
) -> None:
    with ExitStack() as served:
        agents = [served.enter_context(serving(ScriptedAgent())) for _ in range(52)]
        with store.write() as tx:
            for number, agent in enumerate(agents):
                insert_record(tx, MACHINES, {"machine": f"L{number}", "feed_url": agent.url})
        hangs, drips, *others = agents
        hangs.always, drips.always = "hang", "drip"
        for agent in agents:
            agent.make([1])
        with running(store, _PLAN):
            wait_until(lambda: _all(booked, [1]))
            for agent in others:
                agent.make([2, 3])
            wait_until(lambda: _all(booked, [1, 2, 3]))
            # all that went on within a single question to each of the two
            assert [len(hangs.requests), len(drips.requests)] == [1, 1]
            assert booked.counts("L0") == booked.counts("L1") == []
            drips.always = ""
            drips.hurry.set()
            wait_until(lambda: booked.counts("L1") == [1])

    assert booked.kept_aside() == []


def _all(booked: Booked, counts: list[int]) -> bool:
    return all(booked.counts(f"L{number}") == counts for number in range(2, 52))
