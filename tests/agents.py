"""A small agent that speaks like the recorded one (fixtures/mtconnect), and can misbehave."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

_RECORDED = Path(__file__).parents[1] / "fixtures" / "mtconnect"
_NAMESPACE = "urn:mtconnect.org:MTConnect{kind}:{version}"
#: The recorded lathe's items by their id: element and attributes.
_ITEMS = {
    "p1pc": ("PartCount", 'name="parts" subType="ALL"'),
    "p1pcg": ("PartCount", 'name="good" subType="GOOD"'),
    "p1exec": ("Execution", 'name="exec1"'),
    "p1tn": ("ToolNumber", ""),
}
#: A condition of that path, as the standard writes it (ANSI/MTC1.4, part 3, conditions).
_CONDITION_ITEM = b'<DataItem category="CONDITION" id="p1mon" name="monitor" type="SYSTEM"/>'
_LEVELS = ("Normal", "Warning", "Fault", "Unavailable")


@dataclass(frozen=True)
class WhoAndWhen:
    """One observation; ``code`` is that of a condition, whose ``text`` is its level."""

    sequence: int
    item_id: str
    at: datetime
    text: str
    code: str = ""


class ScriptedAgent:
    """An agent whose machine does what a test says.

    Args:
        buffer_size: Observations that it holds.
        streams: Whether it answers ``interval=`` with multipart.
        clock: Tells the time that its answers carry.
    """

    def __init__(
        self,
        buffer_size: int = 128,
        *,
        streams: bool = True,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.buffer_size, self.streams, self.clock = buffer_size, streams, clock
        self.lock = threading.RLock()
        self.instance_id = 1_700_000_000
        self.version = "2.3"
        self.said: list[WhoAndWhen] = []
        self.next_sequence = 1
        self.last_at = datetime.now(UTC) - timedelta(days=200)
        #: What the next answers do wrong, in turn; see ``_Handler``.
        self.tricks: deque[str] = deque()
        #: What every answer does wrong from now on.
        self.always = ""
        #: What every answer to a question for a stream does wrong from now on.
        self.trick_of_streams = ""
        self.requests: list[str] = []
        self.url = ""
        #: Tools that were put here by their id: query and body; and how puts are answered.
        self.assets: dict[str, tuple[dict[str, str], bytes]] = {}
        self.puts, self.takes_assets = 0, 200
        self.ended = threading.Event()
        #: Lets what drips byte by byte run out at once.
        self.hurry = threading.Event()

    def say(self, item_id: str, text: str, at: datetime | None = None, code: str = "") -> None:
        """The machine says something; each instant is later than the one before."""
        with self.lock:
            at = at or max(self.last_at + timedelta(milliseconds=1), datetime.now(UTC))
            self.last_at = at
            self.said.append(WhoAndWhen(self.next_sequence, item_id, at, text, code))
            self.next_sequence += 1

    def make(self, counts: range | list[int], every_s: float = 50.0) -> None:
        """Parts are made, one after another."""
        with self.lock:
            for count in counts:
                self.say("p1pc", str(count), self.last_at + timedelta(seconds=every_s))

    def restart(self) -> None:
        """The agent starts anew: it knows the last values, and its sequences begin at 1."""
        with self.lock:
            last = self._last()
            self.instance_id += 60
            self.said, self.next_sequence = [], 1
            began = self.last_at
            for one in last:
                unknown = "Unavailable" if one.text in _LEVELS else "UNAVAILABLE"
                self.say(one.item_id, unknown, one.at)
                self.say(one.item_id, one.text, one.at, one.code)
            self.last_at = began

    def held(self) -> list[WhoAndWhen]:
        """What is still in its buffer."""
        return self.said[-self.buffer_size :]

    def first_sequence(self) -> int:
        """Oldest one that it holds."""
        held = self.held()
        return held[0].sequence if held else self.next_sequence

    # documents ---------------------------------------------------------------------------

    def probe(self) -> bytes:
        """The recorded answer, with this agent's instance."""
        raw = (_RECORDED / "probe.xml").read_bytes()
        for name, value in (
            (b"instanceId", b"%d" % self.instance_id),
            (b"creationTime", f"{self.clock():%Y-%m-%dT%H:%M:%SZ}".encode()),
        ):
            raw = re.sub(rb'%s="[^"]*"' % name, b'%s="%s"' % (name, value), raw)
        begin = b'<Path id="p1" name="path1">\n              <DataItems>'
        assert begin in raw
        return raw.replace(begin, begin + _CONDITION_ITEM)

    def current(self) -> bytes:
        """The last value of each item."""
        return self._streams(self._last(), self.next_sequence)

    def _last(self) -> list[WhoAndWhen]:
        """The last value of each item, and all that holds of a condition."""
        last: dict[tuple[str, str], WhoAndWhen] = {}
        for one in self.said:
            if one.text == "Normal":
                last = {key: kept for key, kept in last.items() if key[0] != one.item_id}
            last[(one.item_id, one.code)] = one
        return list(last.values())

    def sample(self, begin: int, count: int) -> bytes:
        """Observations from a sequence on, or why not."""
        if not self.first_sequence() <= begin <= self.next_sequence:
            return self.refusal("OUT_OF_RANGE", f"'from' must be greater than {begin}")
        chosen = [one for one in self.held() if one.sequence >= begin][:count]
        following = chosen[-1].sequence + 1 if chosen else begin
        return self._streams(chosen, following)

    def refusal(self, code: str, text: str) -> bytes:
        """An error document."""
        return (
            f"{self._head('Error')}"
            f'<Errors><Error errorCode="{code}">{text}</Error></Errors></MTConnectError>'
        ).encode()

    def _head(self, kind: str, more: str = "") -> str:
        name = _NAMESPACE.format(kind=kind, version=self.version)
        created = f"{self.clock():%Y-%m-%dT%H:%M:%SZ}"
        return (
            f'<?xml version="1.0" encoding="UTF-8"?>\n<MTConnect{kind} xmlns="{name}">'
            f'<Header creationTime="{created}" sender="test" instanceId="{self.instance_id}" '
            f'version="2.7.0.9" bufferSize="{self.buffer_size}" '
            f'deviceModelChangeTime="2026-11-25T07:53:55.723224Z" {more}/>'
        )

    def _streams(self, chosen: list[WhoAndWhen], following: int) -> bytes:
        more = (
            f'nextSequence="{following}" firstSequence="{self.first_sequence()}" '
            f'lastSequence="{self.next_sequence - 1}"'
        )
        events = "".join(_event(one) for one in chosen if one.text not in _LEVELS)
        conditions = "".join(_condition(one) for one in chosen if one.text in _LEVELS)
        return (
            f'{self._head("Streams", more)}<Streams><DeviceStream name="SL01" uuid="sl-01">'
            f'<ComponentStream component="Path" name="path1" componentId="p1"><Events>{events}'
            f"</Events><Condition>{conditions}</Condition></ComponentStream></DeviceStream>"
            "</Streams></MTConnectStreams>"
        ).encode()


def _event(one: WhoAndWhen) -> str:
    name, more = _ITEMS[one.item_id]
    return (
        f'<{name} dataItemId="{one.item_id}" {more} sequence="{one.sequence}" '
        f'timestamp="{one.at:%Y-%m-%dT%H:%M:%S.%fZ}">{one.text}</{name}>'
    )


def _condition(one: WhoAndWhen) -> str:
    code = f'nativeCode="{one.code}" ' if one.code else ""
    return (
        f'<{one.text} dataItemId="{one.item_id}" type="SYSTEM" {code}sequence="{one.sequence}" '
        f'timestamp="{one.at:%Y-%m-%dT%H:%M:%S.%fZ}"/>'
    )


class _Handler(BaseHTTPRequestHandler):
    """Answers; a trick is one of the methods ``_trick_...`` below."""

    protocol_version = "HTTP/1.1"
    agent: ScriptedAgent

    def log_message(self, *_: object) -> None:
        """Nothing on the terminal."""

    def do_GET(self) -> None:
        agent = self.agent
        asked = urlsplit(self.path)
        query = {name: values[0] for name, values in parse_qs(asked.query).items()}
        agent.requests.append(self.path)
        trick = agent.tricks.popleft() if agent.tricks else agent.always
        streamed = trick in ("", "hang", "break_off", "refuse_later")
        if "interval" in query and agent.trick_of_streams:
            trick, streamed = agent.trick_of_streams, False
        if "interval" in query and agent.streams and streamed:
            self._stream(int(query["from"]), int(query["interval"]) / 1000, trick)
            return
        with agent.lock:
            body = self._body(asked.path, query)
        if trick:
            getattr(self, f"_trick_{trick}")(body)
        else:
            self._send(body)

    def do_PUT(self) -> None:
        """Take an asset as a common agent does, from memory; refused as one was recorded to."""
        agent, asked = self.agent, urlsplit(self.path)
        raw = self.rfile.read(int(self.headers["Content-Length"]))
        agent.puts += 1
        body, status = b"<success/>", agent.takes_assets
        if status != 200:
            body = (_RECORDED / "error_bad_asset.xml").read_bytes()
        elif asked.path.startswith("/asset/"):
            query = {name: values[0] for name, values in parse_qs(asked.query).items()}
            agent.assets[asked.path.removeprefix("/asset/")] = query, raw
        self.send_response(status)
        self.send_header("Content-Type", "text/xml")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _body(self, path: str, query: dict[str, str]) -> bytes:
        if path.endswith("/probe"):
            return self.agent.probe()
        if path.endswith("/current"):
            return self.agent.current()
        return self.agent.sample(int(query["from"]), int(query.get("count", "100")))

    def _send(self, body: bytes, length: int | None = None) -> None:
        self.send_response(400 if b"MTConnectError" in body else 200)
        self.send_header("Content-Type", "text/xml")
        self.send_header("Content-Length", str(len(body) if length is None else length))
        self.end_headers()
        self.wfile.write(body)

    def _stream(self, begin: int, pause_s: float, trick: str) -> None:
        agent = self.agent
        self.close_connection = True
        self.send_response(200)
        self.send_header("Content-Type", "multipart/x-mixed-replace;boundary=b0undary")
        self.send_header("Connection", "close")
        self.end_headers()
        instance = agent.instance_id
        while not agent.ended.is_set() and instance == agent.instance_id:
            if agent.tricks and not trick:
                if agent.tricks[0] not in ("break_off", "refuse_later"):
                    return  # the next question gets it
                trick = agent.tricks.popleft()
            with agent.lock:
                body = agent.sample(begin, 100)
                begin = int(re.search(rb'nextSequence="(\d+)"|$', body)[1] or begin)  # type: ignore[index]
            if trick == "break_off":
                body = body[: len(body) // 2]
            part = b"--b0undary\r\nContent-type: text/xml\r\nContent-length: %d\r\n\r\n%s\r\n"
            sent = part % (len(body), body)
            if trick == "refuse_later":
                refusal = agent.refusal("INTERNAL_ERROR", "out of order")
                sent += part % (len(refusal), refusal)
            self.wfile.write(sent)
            if trick == "refuse_later":
                return
            if trick == "break_off" or b"MTConnectError" in body:
                return
            if trick == "hang":
                agent.ended.wait(30)
                return
            time.sleep(pause_s)

    # what goes wrong ---------------------------------------------------------------------

    def _trick_break_off(self, body: bytes) -> None:
        self._send(body[: len(body) // 2], len(body))
        self.close_connection = True

    def _trick_hang(self, _: bytes) -> None:
        self.agent.ended.wait(30)
        self.close_connection = True

    def _trick_slow(self, body: bytes) -> None:
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        step = max(1, len(body) // 10)
        for start in range(0, len(body), step):
            self.wfile.write(body[start : start + step])
            time.sleep(0.03)

    def _trick_drip(self, body: bytes) -> None:
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        for at in range(len(body)):
            if self.agent.hurry.wait(0.02) or self.agent.ended.is_set():
                self.wfile.write(body[at:])
                return
            self.wfile.write(body[at : at + 1])

    def _trick_too_long(self, body: bytes) -> None:
        self._send(body, len(body) + 500)
        self.agent.ended.wait(0.3)
        self.close_connection = True

    def _trick_too_short(self, body: bytes) -> None:
        self._send(body, len(body) - 40)
        self.close_connection = True

    def _trick_garbage(self, _: bytes) -> None:
        self._send(bytes(range(256)) * 8)

    def _trick_page(self, _: bytes) -> None:
        body = b"<html><body>Gateway out of order</body></html>"
        self.send_response(502)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _trick_entities(self, _: bytes) -> None:
        self._send(
            b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
            b"<MTConnectStreams>&b;</MTConnectStreams>"
        )

    def _trick_huge(self, _: bytes) -> None:
        self.send_response(200)
        self.send_header("Connection", "close")
        self.end_headers()
        self.close_connection = True
        self.wfile.write(b"<MTConnectStreams>")
        while not self.agent.ended.is_set():
            self.wfile.write(b" " * 100_000)

    def _trick_empty(self, _: bytes) -> None:
        self._send(b"")

    def _trick_refuse_later(self, _: bytes) -> None:
        self._send(self.agent.refusal("INTERNAL_ERROR", "out of order"))

    def _trick_no_stream(self, body: bytes) -> None:
        self._send(body)


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    request_queue_size = 128

    def handle_error(self, request: object, client_address: object) -> None:
        """Whoever asked has left: that is what many tests are about."""


@contextmanager
def serving(agent: ScriptedAgent, port: int = 0) -> Iterator[ScriptedAgent]:
    """The agent on loopback, under its ``url``."""
    handler = type("Handler", (_Handler,), {"agent": agent})
    server = _Server(("127.0.0.1", port), handler)
    agent.url = f"http://127.0.0.1:{server.server_address[1]}"
    agent.ended.clear()
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield agent
    finally:
        agent.ended.set()
        server.shutdown()
        server.server_close()
        thread.join()


def closed_port() -> int:
    """A port where nobody listens."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port
