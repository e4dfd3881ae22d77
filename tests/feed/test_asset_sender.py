"""Tools kept current at a machine's agent: sent when they change, tried again, told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from xml.etree.ElementTree import Element

import pytest
from defusedxml.ElementTree import fromstring

from crib.clock import now
from crib.feed.asset_sender import AssetSender, assets_url
from crib.feed.runner import FeedPlan
from crib.store.engine import Store
from crib.views.show_feeds import FeedShown, show_feeds
from tests.agents import ScriptedAgent
from tests.feed.conftest import PLAN, Booked, running, wait_until
from tests.store.conftest import Acts


@pytest.fixture
def code(store: Store, shop: SimpleNamespace) -> str:
    """A tool in M1/T01."""
    with store.write() as tx:
        acts = Acts(tx, shop)
        made = acts.ready(0, "TH-1")
        acts.mount(made, 2, "M1/T01")
    return made


@pytest.fixture
def plan(store: Store) -> Callable[..., FeedPlan]:
    """Follows, and sends the tools of some machines."""

    def sending(*machines: str) -> FeedPlan:
        async def send(writer: object) -> None:
            await AssetSender(store, machines, writer, now, every_s=0.1).run()  # type: ignore[arg-type]

        return replace(PLAN, beside=(send,))

    return sending


def told(store: Store) -> FeedShown:
    with store.read() as tx:
        return show_feeds(tx, now())[0]


def parts_used(raw: bytes) -> str | None:
    tool: Element = fromstring(raw)
    return next(one.text for one in tool.iter("ToolLife") if one.get("type") == "PART_COUNT")


def test_a_tool_is_sent_when_it_changes_and_once_more_when_it_leaves(
    store: Store,
    shop: SimpleNamespace,
    agent: ScriptedAgent,
    booked: Booked,
    code: str,
    plan: Callable[..., FeedPlan],
) -> None:
    agent.make([10])
    with running(store, plan("m1")):
        wait_until(lambda: code in agent.assets)
        query, raw = agent.assets[code]
        tool = fromstring(raw)
        agent.make(range(11, 15))
        wait_until(lambda: parts_used(agent.assets[code][1]) == "4")
        wait_until(lambda: told(store).assets_sent_at)
        with store.write() as tx:
            acts = Acts(tx, shop)
            acts.present = now()
            acts.remove((now() - shop.start).total_seconds() / 60 - 1)
        wait_until(lambda: fromstring(agent.assets[code][1]).find(".//Location") is None)

    assert query == {"type": "CuttingTool", "device": "sl-01"}
    assert (tool.tag, tool.get("assetId"), tool.get("deviceUuid")) == (
        "CuttingTool",
        code,
        "sl-01",
    )
    assert [one.text for one in tool.iter("Location")] == ["1"]
    assert told(store).assets_problem is None


def test_an_agent_that_takes_none_is_tried_again_ever_more_rarely_and_told(
    store: Store, agent: ScriptedAgent, booked: Booked, code: str, plan: Callable[..., FeedPlan]
) -> None:
    agent.takes_assets = 405
    agent.make([1])
    with running(store, plan("all")):
        wait_until(lambda: told(store).assets_problem)
        problem = told(store).assets_problem
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])  # counts go on
        wait_until(lambda: agent.puts >= 3)
        agent.takes_assets = 200
        wait_until(lambda: told(store).assets_sent_at)

    assert "does not accept tools from us (status 405" in str(problem)
    assert "Could not parse Asset" in str(problem)
    assert told(store).assets_problem is None
    assert agent.puts < 15


def test_nothing_is_sent_unless_the_shop_says_so(
    store: Store, agent: ScriptedAgent, booked: Booked, code: str, plan: Callable[..., FeedPlan]
) -> None:
    agent.make([1])
    with running(store, plan("M2")):
        wait_until(lambda: booked.counts() == [1])
        agent.make([2])
        wait_until(lambda: booked.counts() == [1, 2])

    assert agent.puts == 0


@pytest.mark.parametrize(
    ("url", "where"),
    [
        ("http://h:5000", "http://h:5000/asset"),
        ("http://h:5000/", "http://h:5000/asset"),
        ("http://u:p@h:5000/SL01", "http://u:p@h:5000/asset"),
        ("http://h/agent/SL01/current", "http://h/agent/asset"),
    ],
)
def test_assets_go_beside_the_devices(url: str, where: str) -> None:
    assert str(assets_url(url)) == where
