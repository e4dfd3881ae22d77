"""Counts pushed to a real broker are booked once, and are kept there while nobody listens."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.clock import now
from crib.errors import Invalid
from crib.feed.broker import BrokerFeed
from crib.feed.broker_address import BrokerAddress
from crib.feed.runner import FeedPlan
from crib.feed.topic_map import Garbled, load_map
from crib.store.engine import Store
from tests.agents import closed_port
from tests.brokers import broker
from tests.feed.conftest import PLAN, Booked, running, wait_until
from tests.feed.test_breakages import mount, questions, signals

MAP = """
[[rule]]
topic = "shop/{machine}/parts"
count = "parts.total"
at = "time"
state = "status"
[rule.machines]
lathe-1 = "M1"
[rule.states]
RUN = "ACTIVE"

[[rule]]
topic = "plain/{machine}"

[[rule]]
topic = "watch/{machine}/{path}"
breakage = "event"
tool = "tool"
at = "time"
[rule.breakages]
BROKEN = "spindle load"
true = "laser"
"""
BEGIN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """A broker of the test's own."""
    folder = tmp_path / "broker"
    folder.mkdir()
    with broker(folder, closed_port()) as listening:
        yield listening


@pytest.fixture
def plan(tmp_path: Path, port: int) -> FeedPlan:
    """Follows that broker."""
    path = tmp_path / "map.toml"
    path.write_text(MAP)
    address = BrokerAddress.parse(f"mqtt://127.0.0.1:{port}")

    async def listen(writer: object) -> None:
        await BrokerFeed(address, load_map(path), "crib-test", writer, now).run()  # type: ignore[arg-type]

    return replace(PLAN, beside=(listen,))


@contextmanager
def sender(port: int) -> Iterator[Callable[..., None]]:
    """A machine that pushes with quality 1."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()

    def send(topic: str, body: object, retain: bool = False, wait: bool = True) -> None:
        text = body if isinstance(body, (str, bytes)) else json.dumps(body)
        sent = client.publish(topic, text, qos=1, retain=retain)
        if wait:
            sent.wait_for_publish(300)

    try:
        yield send
    finally:
        client.disconnect()
        client.loop_stop()


def parts(count: int, **more: object) -> dict[str, object]:
    """A message of a count, dated."""
    at = BEGIN + timedelta(minutes=count)
    return {"parts": {"total": count}, "time": at.isoformat()} | more


def test_pushed_counts_are_booked_once_and_survive_a_time_without_listeners(
    store: Store, booked: Booked, plan: FeedPlan, port: int
) -> None:
    with sender(port) as send:
        with running(store, plan):
            wait_until(lambda: pushed(send, parts(1, status="RUN"), booked))
            for count in range(2, 30):
                send("shop/lathe-1/parts", parts(count))
            wait_until(lambda: booked.counts() == list(range(1, 30)))
        for count in range(30, 60):
            send("shop/lathe-1/parts", parts(count))
        with running(store, plan):
            wait_until(lambda: booked.counts() == list(range(1, 60)))

    feed = booked.feed()
    assert feed is not None
    assert (feed.source, feed.state) == ("mqtt", "following")
    with store.read() as tx:
        states = tx.exec_driver_sql("SELECT kind, value FROM machine_now").all()
    assert [tuple(row) for row in states] == [("EXECUTION", "ACTIVE")]


def pushed(send: Callable[..., None], body: dict[str, object], booked: Booked) -> bool:
    """Sent again and again, until the subscription stands: it is the same count."""
    send("shop/lathe-1/parts", body)
    return bool(booked.counts())


def test_a_garbled_message_is_left_out_and_said(
    store: Store, booked: Booked, plan: FeedPlan, port: int
) -> None:
    with sender(port) as send, running(store, plan):
        wait_until(lambda: pushed(send, parts(1), booked))
        for body in ("{", b"\xff\xfe", {"parts": {}, "time": "2026-03-02T08:00:00Z"}):
            send("shop/lathe-1/parts", body)
        send("plain/NOBODY", "7")
        send("plain/M1", "seven")
        wait_until(lambda: booked.kept_aside() == ["not_whole"])
        send("shop/lathe-1/parts", "{")
        wait_until(lambda: "JSON" in str(booked.feed()))
        send("shop/lathe-1/parts", parts(2))
        wait_until(lambda: booked.counts() == [1, 2])


def test_an_undated_number_counts_from_its_arrival(
    store: Store, booked: Booked, plan: FeedPlan, port: int
) -> None:
    with sender(port) as send, running(store, plan):
        wait_until(lambda: pushed(send, parts(1), booked))
        send("plain/M2", "5")
        wait_until(lambda: booked.counts("M2") == [5])


def test_a_watcher_tells_a_breakage_once_though_its_message_is_kept(
    store: Store, shop: SimpleNamespace, booked: Booked, plan: FeedPlan, port: int
) -> None:
    sits = mount(store, shop, "M1/T01", "TH-1")
    broke = BEGIN + timedelta(minutes=5)
    told = {"event": "BROKEN", "tool": 1, "time": broke.isoformat()}
    with sender(port) as send:
        send("watch/M1/1", told, retain=True)
        with running(store, plan):
            wait_until(lambda: signals(store))
            send("watch/M1/1", told | {"event": "OK", "time": now().isoformat()})
            send("watch/M1/1", told | {"tool": None})
            wait_until(lambda: "no tool number" in str(questions(store)))
            send("watch/M1/1", told | {"event": True, "tool": "77"})
            wait_until(lambda: "no station for tool number 77" in str(questions(store)))
        with store.write() as tx:
            reverse_fact(tx, now(), ReverseFact(signals(store)[0].fact))
        with running(store, plan):  # the broker tells the kept message again
            wait_until(lambda: booked.feed() is not None and booked.feed().problem is None)

    assert [one[1:] for one in signals(store)] == [(sits, broke, "spindle load", True)]


def test_a_breakage_behind_more_counts_than_the_broker_keeps_is_booked(
    store: Store, shop: SimpleNamespace, booked: Booked, plan: FeedPlan, port: int
) -> None:
    """The broker keeps 1,000 messages of a session unless it is told otherwise."""
    sits = mount(store, shop, "M1/T01", "TH-1")
    broke = BEGIN + timedelta(days=1)
    with sender(port) as send:
        with running(store, plan):
            wait_until(lambda: pushed(send, parts(1), booked))
        for count in range(2, 3001):
            send("shop/lathe-1/parts", parts(count), wait=False)
        send("shop/lathe-1/parts", parts(3001), retain=True)
        told = {"event": "BROKEN", "tool": 1, "time": broke.isoformat()}
        send("watch/M1/1", told)
        with running(store, plan):
            wait_until(lambda: signals(store))
            wait_until(lambda: booked.gaps())
            # the last count is kept by the broker whatever its queue drops
            wait_until(lambda: booked.counts()[-1] == 3001)

    assert [(one.mount, one.at) for one in signals(store)] == [(sits, broke)]
    assert {gap.reason for gap in booked.gaps()} == {"queue"}
    assert booked.parts() == 3000


def test_a_broker_that_forgot_us_makes_a_gap_and_an_absence_that_lost_nothing_none(
    store: Store, booked: Booked, plan: FeedPlan, port: int, tmp_path: Path
) -> None:
    with sender(port) as send:
        with running(store, plan):
            wait_until(lambda: pushed(send, parts(1), booked))
        for count in range(2, 60):
            send("shop/lathe-1/parts", parts(count))
        with running(store, plan):
            wait_until(lambda: booked.counts()[-1] == 59)
        assert booked.gaps() == []
        for name in ("crib-test", "crib-test-breakages"):
            forget(port, name)
        with running(store, plan):
            wait_until(lambda: len(booked.gaps()) == 2)

    assert {gap.reason for gap in booked.gaps()} == {"session", "breakages_session"}


def forget(port: int, name: str) -> None:
    """The broker drops a session, as it does by itself after a while."""
    connected = threading.Event()
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, client_id=name, clean_session=True, protocol=mqtt.MQTTv311
    )
    client.on_connect = lambda *_: connected.set()
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert connected.wait(20)
    client.disconnect()
    client.loop_stop()


def test_breakages_that_come_together_are_all_booked(
    store: Store, shop: SimpleNamespace, booked: Booked, plan: FeedPlan, port: int
) -> None:
    sit = [mount(store, shop, "M1/T01", "TH-1"), mount(store, shop, "M1/T11", "DH-1")]
    told = {"event": "BROKEN", "time": (BEGIN + timedelta(minutes=5)).isoformat()}
    with sender(port) as send:
        with running(store, plan):
            wait_until(lambda: pushed(send, parts(1), booked))
        for tool in (1, 11):  # kept by the broker, and brought both at once
            send("watch/M1/1", told | {"tool": tool})
        with running(store, plan):
            wait_until(lambda: len(signals(store)) == 2)

    assert [one.mount for one in signals(store)] == sit


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no \\[\\[rule\\]\\]"),
        ("[[rule]]\ncount='a'", "needs a topic"),
        ("[[rule]]\ntopic='a/b'", "name the machine"),
        ("[[rule]]\ntopic='a/#/{machine}'", "plain"),
        ("[[rule]]\ntopic='{machine}'\ncuont='a'", "'cuont' is not a field"),
        ("[[rule]]\ntopic='{machine}'\ncount=3", "rule 1: 'count'"),
        ("[[rule", "cannot be read"),
        ("[[rule]]\ntopic='{machine}'\nbreakage='a'\ntool='b'", "'tool' and 'at'"),
        ("[[rule]]\ntopic='{machine}'\nbreakage='a'\nat='b'", "'tool' and 'at'"),
        ("[[rule]]\ntopic='{machine}/{tool}'\nbreakage='a'\nat='b'", "what it says when"),
        ("[[rule]]\ntopic='{machine}'\n[rule.breakages]\nX='y'", "what it says when"),
    ],
)
def test_a_wrong_map_names_the_rule(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "map.toml"
    path.write_text(text)

    with pytest.raises(Invalid, match=says):
        load_map(path)


@pytest.mark.parametrize(
    ("topic", "payload", "says"),
    [
        ("other/x", b"1", "no rule"),
        ("shop/lathe-1/parts", b"[" * 100_000, "no JSON"),
        ("shop/lathe-1/parts", b'{"parts": {"total": 3}, "time": "soon"}', "no instant"),
        ("shop/lathe-1/parts", b'{"parts": {"total": true}, "time": 1772438400}', "none of"),
    ],
)
def test_a_message_that_means_nothing_says_why(
    tmp_path: Path, topic: str, payload: bytes, says: str
) -> None:
    path = tmp_path / "map.toml"
    path.write_text(MAP)

    with pytest.raises(Garbled, match=says):
        load_map(path).read(topic, payload, BEGIN)
