"""Tools kept current at the agents of their machines: life, offsets, place.

How an agent takes them (PUT /asset/ID with type and device, where it allows that) is from
memory of a common one. Its answer to a bad one was recorded.
"""

from __future__ import annotations

import asyncio
import hashlib
import logging
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element, tostring

import aiohttp
from yarl import URL

from crib.clock import Clock
from crib.errors import Refusal
from crib.feed.asking import Limits, agents_session, bare_address, in_words
from crib.feed.documents import Errors, read_document
from crib.feed.problems import FeedProblem, NoAnswer
from crib.feed.writer import Writer
from crib.outlook.kept_shop import KeptShop
from crib.outlook.shop_plan import plan_shop
from crib.planning.night import NIGHT_LIMIT
from crib.records.catalogue import MACHINES
from crib.sentence import sentence
from crib.store.engine import Store
from crib.store.feeds import keep_assets_sent, list_feeds
from crib.store.records import list_records
from crib.store.savepoint import is_failure_to_write
from crib.views.tool_asset_xml import write_asset
from crib.views.tool_assets import ToolAsset, assets_in_machines

_LOG = logging.getLogger("crib.feed")
_EVERY_S, _LONGEST_S = 60.0, 3600.0
_MOST_BYTES = 1_000_000
#: Stands for every machine with an agent.
ALL = "all"
#: Statuses by which an agent says that it takes no assets from us.
_NOT_ALLOWED = (403, 404, 405, 501)


@dataclass(slots=True)
class _AtAgent:
    """What one agent has by now, and when it is tried again."""

    digests: dict[str, str] = field(default_factory=dict)
    pause_s: float = 0.0
    again_s: float = 0.0
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class _Due:
    """Tools of one machine, each as XML, and which of them left it; its agent's address."""

    machine: str
    url: str
    device: str
    tools: dict[str, bytes]
    left: frozenset[str]


class AssetSender:
    """Sends the tools of some machines to their agents whenever they changed.

    Args:
        store: The database.
        machines: Names of the machines, or ``all``.
        writer: Books what came of it.
        clock: Tells the time.
        night_limit: Chance of a failure that a machine may run with unattended.
        every_s: The tools are looked at this often, and an agent that takes none is tried
            again after so long; that doubles up to an hour [s].
        limits: How long an agent may take.
    """

    def __init__(
        self,
        store: Store,
        machines: Sequence[str],
        writer: Writer,
        clock: Clock,
        *,
        night_limit: float = NIGHT_LIMIT,
        every_s: float = _EVERY_S,
        limits: Limits | None = None,
    ) -> None:
        self._store, self._writer, self._clock = store, writer, clock
        self._wanted = {name.lower() for name in machines}
        self._night_limit, self._every_s = night_limit, every_s
        self._limits = limits or Limits()
        self._kept = KeptShop()
        self._agents: dict[str, _AtAgent] = defaultdict(_AtAgent)

    async def run(self) -> None:
        """Send until cancelled."""
        async with agents_session() as session:
            while True:
                try:
                    due = await asyncio.to_thread(self._look)
                except Exception as problem:
                    if not isinstance(problem, Refusal) and not is_failure_to_write(problem):
                        _LOG.exception("the tools could not be looked at; tried again")
                    due = []
                await asyncio.gather(*(self._send(session, one) for one in due))
                await asyncio.sleep(self._every_s)

    def _look(self) -> list[_Due]:
        """The tools of every machine that is to be sent its own."""
        with self._store.read() as tx:
            devices = {one.machine: one.device_uuid for one in list_feeds(tx)}
            urls = {str(row["machine"]): row["feed_url"] for row in list_records(tx, MACHINES)}
            chosen = [
                name
                for name, url in urls.items()
                if url and devices.get(name) and {name.lower(), ALL} & self._wanted
            ]
            if not chosen:
                return []
            plan = plan_shop(tx, self._clock(), night_limit=self._night_limit, kept=self._kept)
            found = []
            for name in chosen:
                # those that left it are sent once more, without their place
                left = list(self._agents[name].digests)
                assets = assets_in_machines(tx, plan, {name}, left)
                tools = {one.code: _written(one) for one in assets}
                gone = frozenset(one.code for one in assets if one.machine != name)
                found.append(_Due(name, str(urls[name]), str(devices[name]), tools, gone))
            return found

    async def _send(self, session: aiohttp.ClientSession, due: _Due) -> None:
        agent, loop = self._agents[due.machine], asyncio.get_running_loop()
        if loop.time() < agent.again_s:
            return
        sent, problem = 0, None
        for code, raw in due.tools.items():
            digest = hashlib.sha256(raw).hexdigest()
            if agent.digests.get(code) == digest:
                continue
            try:
                await self._put(session, due, code, raw)
            except NoAnswer as why:
                problem = why.sentence
                break  # the next ones would wait as long
            except FeedProblem as why:
                problem = problem or why.sentence
                continue
            sent += 1
            agent.digests[code] = digest
            if code in due.left:
                del agent.digests[code]
        if problem is None:
            agent.pause_s = agent.again_s = 0.0
        else:
            agent.pause_s = min(2 * agent.pause_s or self._every_s, _LONGEST_S)
            agent.again_s = loop.time() + agent.pause_s
        await self._tell(due.machine, agent, sent, problem)

    async def _put(
        self, session: aiohttp.ClientSession, due: _Due, code: str, raw: bytes
    ) -> None:
        limits = self._limits
        url = assets_url(due.url) / code % {"type": "CuttingTool", "device": due.device}
        time = aiohttp.ClientTimeout(
            total=limits.answer_s + limits.connect_s, sock_connect=limits.connect_s
        )
        with in_words(limits.answer_s):
            async with session.put(
                url, data=raw, timeout=time, headers={"Content-Type": "text/xml"}
            ) as answer:
                status, said = answer.status, await answer.content.read(_MOST_BYTES)
        if status >= 400:
            raise FeedProblem(_refused(code, status, said))

    async def _tell(
        self, machine: str, agent: _AtAgent, sent: int, problem: str | None
    ) -> None:
        if not sent and problem == agent.problem:
            return
        agent.problem = problem
        at = self._clock() if sent else None
        if problem:
            _LOG.warning("%s: tools are not sent: %s", machine, problem)
        try:
            await self._writer.write(lambda tx: keep_assets_sent(tx, machine, at, problem))
        except Exception as why:
            if not is_failure_to_write(why):
                raise
            agent.problem = None  # told again with the next ones


def assets_url(feed_url: str) -> URL:
    """Where an agent takes assets: beside its devices, whichever of them is followed."""
    url = URL(bare_address(feed_url))
    above = [part for part in url.path.split("/") if part][:-1]
    return url.with_path("/".join(["", *above, "asset"]))


def _written(asset: ToolAsset) -> bytes:
    raw: bytes = tostring(write_asset(Element("Assets"), asset), encoding="utf-8")
    return raw


def _refused(code: str, status: int, said: bytes) -> str:
    try:
        found = read_document(said)
    except FeedProblem:
        found = None
    words = ""
    if isinstance(found, Errors):
        words = "; ".join(f"{one.code} {one.text}".strip() for one in found.errors)[:300]
    more = f", {words}" if words else ""
    if status in _NOT_ALLOWED:
        return sentence(
            "The agent does not accept tools from us (status {status}{words}): allow this "
            "machine to put assets in the agent's settings, or take the machine out of "
            "CRIB_SEND_ASSETS.",
            status=status,
            words=more,
        )
    wordless = sentence("without a reason")
    return sentence(
        "The agent refuses tool {code} (status {status}): {words}.",
        code=code,
        status=status,
        words=words or wordless,
    )
