"""Signals of breakage from real feeds: booked once, of the tool that was in work then."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import NamedTuple

import pytest

from crib.acts.question import Question
from crib.acts.questions import list_questions
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.clock import instant_from_us, now
from crib.records.catalogue import MACHINES
from crib.store.engine import Store, Tx
from crib.store.records import get_record, update_record
from tests.agents import ScriptedAgent
from tests.feed.conftest import Booked, running, wait_until
from tests.store.conftest import Acts


class Signal(NamedTuple):
    """A signal on record: its fact, whose edge, when, in which words, whether taken back."""

    fact: int
    mount: int
    at: datetime
    words: str
    taken_back: bool


def signals(store: Store) -> list[Signal]:
    """Every signal that was booked."""
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT f.id, b.mount_id, f.at, b.signal, EXISTS"
            " (SELECT 1 FROM facts AS x WHERE x.reverses_id = f.id)"
            " FROM breakages AS b JOIN facts AS f ON f.id = b.fact_id ORDER BY f.id"
        ).all()
    return [
        Signal(row[0], row[1], instant_from_us(row[2]), row[3], bool(row[4])) for row in rows
    ]


def mount(store: Store, shop: SimpleNamespace, station: str, holder: str) -> int:
    """A tool that sits in a station since long; its mount."""
    with store.write() as tx:
        acts = Acts(tx, shop)
        return acts.mount(acts.ready(0, holder), 2, station).fact_id


def swap(tx: Tx, shop: SimpleNamespace) -> None:
    """Now another tool is put into M1/T01."""
    acts = Acts(tx, shop)
    acts.present = now()
    minutes = (acts.present - shop.start) / timedelta(minutes=1) - 5
    acts.remove(minutes, "broken")
    acts.mount(acts.ready(minutes, "TH-2"), minutes + 1)


def questions(store: Store) -> list[Question]:
    """What is asked of people."""
    with store.read() as tx:
        return list_questions(tx, now())


def say(agent: ScriptedAgent, item: str, text: str, code: str = "") -> datetime:
    """M1's agent says something a second after what it said last; when."""
    at = agent.last_at + timedelta(seconds=1)
    agent.say(item, text, at, code)
    return at


def name_signals(store: Store, wanted: str | None) -> None:
    """What tells M1's breakages."""
    with store.write() as tx:
        number = get_record(tx, MACHINES, "M1")["id"]
        update_record(tx, MACHINES, number, {"breakage_signals": wanted})


@pytest.fixture
def sits(store: Store, shop: SimpleNamespace) -> int:
    """The mount of the tool in M1/T01; its signals are those that begin with TB."""
    name_signals(store, "TB-*|probe")
    return mount(store, shop, "M1/T01", "TH-1")


def test_a_condition_that_the_shop_named_ends_the_edge_in_work_once(
    store: Store, agent: ScriptedAgent, booked: Booked, sits: int
) -> None:
    say(agent, "p1tn", "1")
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
        say(agent, "p1mon", "Fault", "E-55")  # nobody said that it tells a breakage
        broke = say(agent, "p1mon", "Fault", "TB-7")
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])
        agent.restart()  # tells again what still holds
        agent.make([3])
        wait_until(lambda: booked.counts() == [1, 2, 3])
    (first,) = signals(store)
    with store.write() as tx:
        reverse_fact(tx, now(), ReverseFact(first.fact))
    agent.restart()
    agent.make([4])

    with running(store):  # whoever starts anew reads it once more
        wait_until(lambda: booked.counts() == [1, 2, 3, 4])

    assert signals(store) == [Signal(first.fact, sits, broke, "Fault TB-7", taken_back=True)]


def test_a_signal_that_came_while_nobody_listened_is_of_the_tool_told_before(
    store: Store, agent: ScriptedAgent, booked: Booked, sits: int
) -> None:
    say(agent, "p1tn", "1")
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
    say(agent, "p1mon", "Fault", "TB-7")
    say(agent, "p1tn", "2")
    agent.make([2])

    with running(store):
        wait_until(lambda: booked.counts() == [1, 2])

    assert [(one.mount, one.words) for one in signals(store)] == [(sits, "Fault TB-7")]


def test_nothing_is_a_breakage_unless_the_shop_says_so(
    store: Store, agent: ScriptedAgent, booked: Booked, sits: int
) -> None:
    name_signals(store, None)
    say(agent, "p1tn", "1")
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
        say(agent, "p1mon", "Fault", "TB-7")
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])

    assert signals(store) == []
    assert not any("CONDITION" in request for request in agent.requests)


def test_a_signal_of_nobody_knows_which_tool_is_asked_about_after_it_is_over(
    store: Store, agent: ScriptedAgent, booked: Booked, sits: int
) -> None:
    say(agent, "p1tn", "2")
    say(agent, "p1mon", "Fault", "TB-7")
    say(agent, "p1tn", "1")
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])
        say(agent, "p1mon", "Normal")
        agent.make([3])
        wait_until(lambda: booked.counts() == [1, 2, 3])

    assert signals(store) == []
    (asked,) = questions(store)
    assert (asked.kind, asked.machine, asked.says) == ("breakage", "M1", "Fault TB-7")
    assert "does not say which tool was in work" in asked.sentence


def test_a_standing_fault_told_anew_leaves_a_new_edge_alone(
    store: Store, shop: SimpleNamespace, agent: ScriptedAgent, booked: Booked, sits: int
) -> None:
    say(agent, "p1tn", "1")
    agent.make([1])
    with running(store):
        wait_until(lambda: booked.counts() == [1])
        say(agent, "p1mon", "Fault", "TB-7")
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])
    with store.write() as tx:
        swap(tx, shop)
    agent.restart()
    # the adapter came back: what holds has a new time
    agent.say("p1mon", "Unavailable", now(), "")
    agent.say("p1mon", "Fault", now(), "TB-7")
    agent.make([3], every_s=0)

    with running(store):
        wait_until(lambda: booked.counts() == [1, 2, 3])
        assert [one.mount for one in signals(store)] == [sits]
        # over, and there again: that one is of the new edge
        agent.say("p1mon", "Normal", now(), "TB-7")
        agent.say("p1mon", "Fault", now(), "TB-7")
        wait_until(lambda: len(signals(store)) == 2)
