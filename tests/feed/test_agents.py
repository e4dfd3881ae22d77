"""Machines followed for real: every part counted once, whatever the agent does."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from crib.clock import now
from crib.feed.agents import Pace
from crib.feed.runner import machines_to_follow
from crib.records.catalogue import MACHINES
from crib.store.checking import check
from crib.store.engine import Store
from crib.store.records import get_record, update_record
from crib.views.show_feeds import FeedShown, show_feeds
from tests.agents import ScriptedAgent, closed_port
from tests.feed.conftest import PLAN, Booked, running, wait_until

MISBEHAVIOURS = [
    "break_off", "slow", "too_long", "too_short", "garbage", "page", "entities", "huge",
    "empty", "no_stream", "refuse_later",
]  # fmt: skip
Point = Callable[[str, "str | None"], None]


def test_parts_are_counted_as_they_are_made(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    agent.make(range(100, 104))

    with running(store):
        wait_until(
            lambda: booked.counts() == [103]
        )  # the past before the first look is not ours
        agent.make(range(104, 110))
        wait_until(lambda: booked.counts() == list(range(103, 110)))

    assert booked.parts() == 6
    feed = booked.feed()
    assert feed is not None
    assert (feed.state, feed.problem, feed.device_uuid) == ("following", None, "sl-01")
    assert any("interval=" in request for request in agent.requests)


def test_an_agent_without_streams_is_asked_again_and_again(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    agent.streams = False
    agent.make([1])

    with running(store):
        wait_until(lambda: booked.counts() == [1])
        agent.make(range(2, 5))
        wait_until(lambda: booked.counts() == [1, 2, 3, 4])

    assert sum("interval=" in request for request in agent.requests) == 1


@pytest.mark.parametrize("trick", ["garbage", "empty", "hang", "no_stream", "page"])
def test_an_agent_whose_stream_failed_is_streamed_again_after_a_while(
    store: Store, agent: ScriptedAgent, booked: Booked, trick: str
) -> None:
    agent.make([1])
    plan = replace(
        PLAN,
        pace=replace(PLAN.pace, stream_again_s=0.4),
        limits=replace(PLAN.limits, pause_s=0.3, answer_s=0.3),
    )

    def streams() -> list[int]:
        return [n for n, one in enumerate(agent.requests) if "interval=" in one]

    agent.trick_of_streams = trick
    with running(store, plan):
        wait_until(lambda: len(streams()) == 1)
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])  # asked instead
        agent.trick_of_streams = ""
        wait_until(lambda: len(streams()) >= 2)
        agent.make([3])
        wait_until(lambda: booked.counts() == [1, 2, 3])

        def comes_by_the_stream(count: int) -> bool:
            begun = streams()[-1]
            agent.make([count])
            wait_until(lambda: booked.counts() == list(range(1, count + 1)))
            return len(agent.requests) - 1 == begun

        # a starved machine misses the pause of 0.3 s now and then, and asks
        assert any(comes_by_the_stream(count) for count in range(4, 14))


@pytest.mark.parametrize("trick", MISBEHAVIOURS)
@pytest.mark.parametrize("stream", [True, False])
def test_every_part_counts_once_through_a_misbehaviour(
    store: Store, agent: ScriptedAgent, booked: Booked, trick: str, stream: bool
) -> None:
    agent.make([10])
    plan = replace(PLAN, pace=replace(PLAN.pace, stream=stream))

    with running(store, plan):
        wait_until(lambda: booked.counts() == [10])
        for count in range(11, 17):
            with agent.lock:
                agent.make([count])
                agent.tricks.append(trick)
            wait_until(lambda: not agent.tricks)
        wait_until(lambda: booked.counts() == list(range(10, 17)))
        wait_until(lambda: _state(booked) == "following")

    assert booked.parts() == 6
    assert booked.gaps() == []
    assert booked.kept_aside() == []
    assert check(store) == []


def _state(booked: Booked) -> str:
    feed = booked.feed()
    return "" if feed is None else feed.state


def test_restarts_resets_overruns_and_silence_lose_no_part(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    agent.make([0])
    with running(store):
        wait_until(lambda: booked.counts() == [0])
        agent.make([1, 2, 3])
        wait_until(lambda: booked.parts() == 3)

        agent.say("p1pc", "UNAVAILABLE", agent.last_at)
        agent.restart()
        agent.make([4, 5])  # made while nobody can tell which run of the agent it was
        wait_until(lambda: booked.parts() == 5)

        agent.make([0, 1, 2])  # reset at the job change
        wait_until(lambda: booked.parts() == 7)

        with agent.lock:  # more than the agent holds, in one moment
            agent.make(range(3, 303))
        wait_until(lambda: booked.parts() == 307)

    reasons = [gap.reason for gap in reversed(booked.gaps())]
    assert reasons == ["restarted", "overrun"]
    assert booked.kept_aside() == []
    assert check(store) == []


def test_who_was_away_continues_where_it_stopped(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
    agent.make(range(2, 60))

    with running(store):
        wait_until(lambda: booked.counts() == list(range(1, 60)))

    assert booked.gaps() == []


def test_one_machine_that_hangs_delays_no_other(
    store: Store,
    agent: ScriptedAgent,
    agents: Callable[[], ScriptedAgent],
    booked: Booked,
    point: Point,
) -> None:
    agent.always = "hang"
    other = agents()
    point("M2", other.url)
    other.make([1, 2])
    hour = 3_600.0  # longer than any test waits
    plan = replace(PLAN, limits=replace(PLAN.limits, pause_s=hour, answer_s=hour))

    with running(store, plan):
        wait_until(lambda: booked.counts("M2") == [2])
        other.make([3])
        wait_until(lambda: booked.counts("M2") == [2, 3])
        agent.ended.set()

    assert booked.counts("M1") == []


def test_what_is_wrong_stands_in_the_feed_and_the_place_stays(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
        before = booked.feed()
        agent.always = "page"
        agent.ended.set()  # ends the stream
        wait_until(lambda: _state(booked) == "waiting")
    feed = booked.feed()

    assert feed is not None
    assert before is not None
    assert "502" in str(feed.problem)
    assert (feed.instance_id, feed.next_sequence) == (before.instance_id, before.next_sequence)


def test_a_machine_nobody_can_reach_says_so(store: Store, booked: Booked, point: Point) -> None:
    port = closed_port()
    point("M1", f"http://127.0.0.1:{port}")

    with running(store):
        wait_until(lambda: _state(booked) == "waiting")

    assert str(port) in str(booked.feed())


def test_a_machine_without_a_part_count_stops_until_somebody_mends_it(
    store: Store, agent: ScriptedAgent, booked: Booked, point: Point
) -> None:
    from crib.records.catalogue import MACHINES
    from crib.store.records import get_record, update_record

    def follow(item: str) -> None:
        with store.write() as tx:
            number = get_record(tx, MACHINES, "M1")["id"]
            update_record(tx, MACHINES, number, {"count_item": item})

    agent.make([1])
    follow("bolts")

    with running(store):
        wait_until(lambda: _state(booked) == "stopped")
        assert "bolts" in str(booked.feed())
        follow("parts")
        wait_until(lambda: booked.counts() == [1])


def test_machines_join_and_leave_while_others_are_followed(
    store: Store,
    agent: ScriptedAgent,
    agents: Callable[[], ScriptedAgent],
    booked: Booked,
    point: Point,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looks = []

    def look(*given: Any) -> Any:
        looks.append(given)
        return machines_to_follow(*given)

    monkeypatch.setattr("crib.feed.runner.machines_to_follow", look)
    agent.make([1])
    other = agents()
    other.make([7])

    with running(store):
        wait_until(lambda: booked.counts("M1") == [1])
        point("M2", other.url)
        wait_until(lambda: booked.counts("M2") == [7])
        point("M1", None)
        seen = len(looks)
        wait_until(lambda: len(looks) > seen + 2)  # what the one before found is done by then
        asked = len(agent.requests)
        agent.make([2])
        other.make([8])
        wait_until(lambda: booked.counts("M2") == [7, 8])

    assert booked.counts("M1") == [1]
    assert len(agent.requests) == asked


def test_a_clock_that_is_off_is_spoken_of(
    store: Store, agents: Callable[[], ScriptedAgent], booked: Booked, point: Point
) -> None:
    slow = agents()
    slow.clock = lambda: now() - timedelta(minutes=12)
    slow.make([1])
    point("M1", slow.url)

    with running(store):
        wait_until(lambda: booked.counts() == [1])

    assert "12 min behind" in str(booked.feed())
    assert _state(booked) == "following"


def test_an_adapter_whose_clock_is_off_is_spoken_of(
    store: Store, agent: ScriptedAgent, booked: Booked, point: Point
) -> None:
    """The agent's own clock is right; its machine's is not."""

    def told() -> FeedShown:
        with store.read() as tx:
            return show_feeds(tx, now())[0]

    agent.say("p1pc", "0", now() - timedelta(minutes=10))
    with running(store):
        wait_until(lambda: booked.counts() == [0])
        assert told().problem is None  # it may be old
        counts = itertools.count(1)

        def behind() -> bool:
            agent.say("p1pc", str(next(counts)), now() - timedelta(minutes=10))
            return bool(told().clock_off_s)

        wait_until(behind)
        assert "times that M1 sends are 10 min old when they come" in str(told().problem)
        agent.say("p1pc", str(next(counts)), now() + timedelta(minutes=10))
        wait_until(lambda: booked.kept_aside())
        wait_until(lambda: "10 min ahead of ours" in str(told().problem))
        assert told().lag_s is None
        agent.say("p1pc", str(next(counts)), now())
        wait_until(lambda: told().problem is None)


def test_pauses_after_failures_grow(store: Store, agent: ScriptedAgent, booked: Booked) -> None:
    agent.always = "page"

    with running(store, replace(PLAN, pace=Pace(poll_s=0.01, first_pause_s=0.1))):
        wait_until(lambda: agent.requests)
        began = time.monotonic()
        asked = len(agent.requests)
        wait_until(lambda: len(agent.requests) >= asked + 4)
        took_s = time.monotonic() - began

    # 0.1, 0.2, 0.4, 0.8 s, each shortened by chance to no less than half
    assert took_s > 0.5 * (0.1 + 0.2 + 0.4 + 0.8) - 0.1


def test_another_count_item_starts_from_its_own_count(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    def follow(item: str) -> None:
        with store.write() as tx:
            row = get_record(tx, MACHINES, "M1")
            update_record(tx, MACHINES, row["id"], {"count_item": item})

    agent.make([129])
    with running(store):
        wait_until(lambda: booked.counts() == [129])
        agent.make([130])
        wait_until(lambda: booked.counts() == [129, 130])
        follow("good")
        agent.say("p1pcg", "300", agent.last_at + timedelta(hours=3))
        wait_until(lambda: booked.counts() == [129, 130, 300])
        follow("parts")
        agent.make([131, 132], every_s=9_000)
        wait_until(lambda: booked.counts()[-1] == 132)

    assert booked.parts() <= 3


def test_a_clock_that_goes_back_leaves_the_counts_in_order(
    store: Store, agent: ScriptedAgent, booked: Booked
) -> None:
    agent.make(range(100, 200))
    with running(store):
        wait_until(lambda: booked.counts() == [199])
        agent.make(range(200, 250))
        wait_until(lambda: booked.counts()[-1:] == [249])
        agent.last_at -= timedelta(hours=1)
        agent.make(range(250, 270))
        wait_until(lambda: booked.counts()[-1:] == [269])
    agent.make(range(270, 280))

    with running(store):
        wait_until(lambda: booked.counts()[-1:] == [279])
        feed = booked.feed()
        assert feed is not None
        assert "clock was set back by 60 min" in str(feed.problem)
        agent.last_at += timedelta(hours=1)
        agent.make(range(280, 330))
        wait_until(lambda: booked.counts()[-1:] == [329])

    assert booked.counts() == list(range(199, 330))
    assert booked.parts() == 130
    assert booked.kept_aside() == []
