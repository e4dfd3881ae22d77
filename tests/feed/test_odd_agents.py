"""Agents that nobody here ever saw: other versions, other habits, all within the standard."""

from __future__ import annotations

import asyncio
import gzip
import re
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, unquote, urlsplit

import pytest

from crib.acts.book_feed import FeedNews
from crib.clock import now
from crib.feed.agents import Kept, Outcome, Pace, Source
from crib.feed.runner import ask_once, devices_of, watch
from tests import loops
from tests.brokers import certificate
from tests.feed.conftest import PLAN

#: Who asked what; the answer and its headers.
Answer = Callable[[str, dict[str, str]], "tuple[int, dict[str, str], list[bytes]]"]
_XML = {"Content-Type": "text/xml"}

ITEMS = '<DataItem category="EVENT" id="pc" name="PartsCount" type="PART_COUNT"/>'
SAYS = '<PartCount dataItemId="pc" sequence="7" timestamp="2026-03-02T08:00:00Z">12</PartCount>'


class Told:
    """What was brought, as ``crib feed --dry-run`` would print it."""

    def __init__(self, enough: int = 1_000_000) -> None:
        self.counts: list[str] = []
        self.states: list[tuple[str, str, str | None]] = []
        self.gaps: list[str] = []
        self._enough, self.stop = enough, asyncio.Event()

    async def book(self, news: FeedNews) -> None:
        """Keep it."""
        self.counts += [one.text for one in news.counts]
        self.states += [(one.kind, one.path, one.text) for one in news.states]
        self.gaps += [news.gap.reason] if news.gap else []
        if len(self.counts) >= self._enough:
            self.stop.set()


@contextmanager
def answering(answer: Answer, tls: ssl.SSLContext | None = None) -> Iterator[str]:
    """An agent on loopback that answers so; its address."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, *_: object) -> None:
            """Nothing on the terminal."""

        def do_GET(self) -> None:
            asked = urlsplit(self.path)
            query = {name: values[0] for name, values in parse_qs(asked.query).items()}
            status, headers, pieces = answer(unquote(asked.path), query)
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.send_header("Transfer-Encoding", "chunked")
            self.end_headers()
            for piece in pieces:
                self.wfile.write(b"%x\r\n%s\r\n" % (len(piece), piece))
            self.wfile.write(b"0\r\n\r\n")

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        block_on_close = False

        def handle_error(self, request: object, client_address: object) -> None:
            """Whoever asked has left."""

    server = Server(("127.0.0.1", 0), Handler)
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield f"http{'s' if tls else ''}://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def document(kind: str, inner: str, version: str = "1.3", header: str = "") -> bytes:
    """A document in the namespace of a version, with a prefix as some agents write it."""
    space = f"urn:mtconnect.org:MTConnect{kind}:{version}"
    given = header or (
        'instanceId="9" bufferSize="100" nextSequence="8" firstSequence="1" lastSequence="7"'
    )
    text = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<?xml-stylesheet href="/s.xsl"?>'
        f'<m:MTConnect{kind} xmlns:m="{space}"><m:Header {given}/>{inner}</m:MTConnect{kind}>'
    )
    return re.sub(r"<(/?)(?=[A-Z])", r"<\1m:", text).encode()


def devices(items: str = ITEMS, version: str = "1.3", **more: str) -> bytes:
    """One device whose path has these items."""
    inner = (
        '<Devices><Device id="d" name="D1" uuid="u1"><Components><Controller id="c">'
        f'<Components><Path id="p" name="P"><DataItems>{items}</DataItems></Path></Components>'
        "</Controller></Components></Device></Devices>"
    )
    return document("Devices", inner, version, **more)


def streams(events: str = SAYS, version: str = "1.3", header: str = "") -> bytes:
    """What these items say."""
    inner = (
        '<Streams><DeviceStream name="D1" uuid="u1"><ComponentStream component="Path" name="P"'
        f' componentId="p"><Events>{events}</Events></ComponentStream></DeviceStream></Streams>'
    )
    return document("Streams", inner, version, header)


def plain(items: str = ITEMS, events: str = SAYS, version: str = "1.3") -> Answer:
    """An agent that says this and no more."""

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        if path.endswith("/probe"):
            return 200, _XML, [devices(items, version)]
        if path.endswith("/current"):
            return 200, _XML, [streams(events, version)]
        return 200, _XML, [streams("", version)]

    return answer


def asked_once(url: str, **named: str) -> tuple[Told, Outcome]:
    """What ``crib feed --agent URL --dry-run --once`` brings."""

    async def ask() -> tuple[Told, Outcome]:
        told = Told()
        (outcome,) = await ask_once([(Source("agent", url, **named), Kept())], told, now, PLAN)
        return told, outcome

    return loops.run(ask())


def watched(url: str, told: Told, pace: Pace) -> None:
    """Follow an agent as ``crib feed --agent URL --dry-run`` does, until it told enough."""

    async def follow() -> None:
        plan = replace(PLAN, pace=pace)
        async with asyncio.timeout(300):
            await watch([Source("agent", url)], told, now, plan, told.stop)

    loops.run(follow())


@pytest.mark.parametrize("version", ["1.3", "1.4", "1.5", "1.8", "2.0", "2.5"])
def test_every_version_of_the_standard_is_read(version: str) -> None:
    with answering(plain(version=version)) as url:
        told, outcome = asked_once(url)

    assert (told.counts, outcome.state, outcome.problem) == (["12"], "following", None)


@pytest.mark.parametrize(
    ("address", "asks"),
    [
        ("{}", ""), ("{}/", ""), ("{}//", ""), ("{}/probe", ""), ("{}/current/", ""),
        ("{}/behind/a/prefix/", "/behind/a/prefix"), ("{}/L1/sample", "/L1"),
    ],
)  # fmt: skip
def test_an_address_is_taken_as_people_paste_it(address: str, asks: str) -> None:
    asked = []

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        asked.append(path)
        return plain()(path, query)

    with answering(answer) as url:
        told, _ = asked_once(address.format(url))

    assert told.counts == ["12"]
    assert asked == [f"{asks}/probe", f"{asks}/current"]


def _count(item_id: str, sub_type: str = "", more: str = "") -> str:
    sub = f' subType="{sub_type}"' if sub_type else ""
    return f'<DataItem category="EVENT" id="{item_id}" type="PART_COUNT"{sub} {more}/>'


@pytest.mark.parametrize(
    ("items", "wanted", "followed"),
    [
        (_count("pc") + _count("x", "TARGET"), None, "pc"),
        (_count("x", "TARGET") + _count("y", "BAD") + _count("pc", "ALL"), None, "pc"),
        (_count("x", "GOOD") + _count("pc", "ALL") + _count("y"), None, "pc"),
        (_count("x", "REMAINING") + _count("pc", "GOOD"), None, "pc"),
        (_count("x") + _count("pc", "", 'nativeName="#3901"'), "#3901", "pc"),
        (_count("x") + _count("pc", "", 'name="second"'), "second", "pc"),
        (_count("x", "", 'representation="DATA_SET"') + _count("pc", "GOOD"), None, "pc"),
        (_count("pc", "", 'representation="DISCRETE"'), None, "pc"),
        ('<DataItem category="EVENT" id="pc" type="x:PARTS_COUNT"/>', None, "pc"),
        ('<DataItem category="SAMPLE" id="pc" type="PartCount"/>', None, "pc"),
        ('<DataItem category="EVENT" id="pc" name="cycles" type="x:CYCLES"/>', "cycles", "pc"),
        (_count("x") + '<DataItem category="EVENT" id="pc" type="x:CYCLES"/>', "pc", "pc"),
    ],
)
def test_the_count_is_found_among_others(items: str, wanted: str | None, followed: str) -> None:
    others = SAYS.replace('"pc"', '"x"').replace("12", "99") if '"x"' in items else ""
    others += SAYS.replace('"pc"', '"y"').replace("12", "98") if '"y"' in items else ""
    with answering(plain(items, SAYS.replace("pc", followed) + others)) as url:
        told, outcome = asked_once(url, **({"count_item": wanted} if wanted else {}))

    assert (told.counts, outcome.state) == (["12"], "following")


def test_a_device_with_targets_and_scrap_alone_says_what_there_is() -> None:
    items = _count("t", "TARGET", 'name="wanted"') + _count("b", "BAD", 'name="scrap"')
    with answering(plain(items)) as url:
        told, outcome = asked_once(url)

    assert (told.counts, outcome.state) == ([], "stopped")
    assert "its part counts are: wanted, scrap" in str(outcome.problem)


def test_an_unknown_count_is_no_count_and_states_are_told_by_path() -> None:
    items = ITEMS + (
        '<DataItem category="EVENT" id="ex" type="EXECUTION"/>'
        '<DataItem category="EVENT" id="tn" type="TOOL_NUMBER"/>'
    )
    events = SAYS.replace("12", "UNAVAILABLE") + (
        '<Execution dataItemId="ex" sequence="5" timestamp="2026-03-02T08:00:00">ACTIVE'
        '</Execution><ToolNumber dataItemId="tn" sequence="6" '
        'timestamp="2026-03-02T09:00:00.123456789+01:00">UNAVAILABLE</ToolNumber>'
    )
    with answering(plain(items, events)) as url:
        told, outcome = asked_once(url)

    assert (told.counts, outcome.state) == ([], "following")
    assert "does not know the part count" in str(outcome.problem)
    assert told.states == [("EXECUTION", "P", "ACTIVE"), ("TOOL_NUMBER", "P", None)]


def _without_paths(how: str) -> Answer:
    known = plain()

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        if "path" not in query:
            return known(path, query)
        if how == "silent":
            return 200, _XML, [streams("")]
        if how == "refused":
            error = (
                '<Errors><Error errorCode="INVALID_REQUEST">unknown parameter</Error></Errors>'
            )
            return 400, _XML, [document("Error", error)]
        return 500, {"Content-Type": "text/html"}, [b"<html><body>oops</body></html>"]

    return answer


@pytest.mark.parametrize("how", ["silent", "refused", "broken"])
def test_an_agent_that_cannot_read_paths_is_read_whole(how: str) -> None:
    with answering(_without_paths(how)) as url:
        told, outcome = asked_once(url)

    assert (told.counts, outcome.state) == (["12"], "following")


def test_an_agent_that_breaks_off_over_paths_is_read_whole() -> None:
    told = Told(enough=1)

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        if "path" in query:
            raise ConnectionError
        return plain()(path, query)

    with answering(answer) as url:
        watched(url, told, Pace(poll_s=0.05, first_pause_s=0.02))

    assert told.counts == ["12"]


def test_answers_may_be_packed() -> None:
    known = plain()

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        status, headers, pieces = known(path, query)
        return status, headers | {"Content-Encoding": "gzip"}, [gzip.compress(b"".join(pieces))]

    with answering(answer) as url:
        told, _ = asked_once(url)

    assert told.counts == ["12"]


def _streaming(boundary: str, cut: int) -> Answer:
    known = plain()

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        if "interval" not in query:
            return known(path, query)
        begin = int(query["from"])
        parts = b"\r\n\r\n"
        for number in range(begin, begin + 4):
            header = (
                f'instanceId="9" bufferSize="100" nextSequence="{number + 1}" '
                f'firstSequence="1" lastSequence="{number}"'
            )
            event = SAYS.replace('"7"', f'"{number}"').replace(">12<", f">{number + 5}<")
            body = streams(event.replace("08:00:00", f"08:00:{number:02d}"), header=header)
            parts += f"--{boundary}\r\nContent-type: text/xml\r\n\r\n".encode() + body + b"\n\n"
        pieces = [parts[at : at + cut] for at in range(0, len(parts), cut)]
        kind = f'multipart/mixed; boundary="{boundary}"'
        return 200, {"Content-Type": kind}, pieces

    return answer


@pytest.mark.parametrize(("boundary", "cut"), [("a", 7), ("--=_x y'(z)", 1000), ("b", 100_000)])
def test_streams_are_read_whatever_their_boundaries_and_pieces(boundary: str, cut: int) -> None:
    told = Told(enough=9)

    with answering(_streaming(boundary, cut)) as url:
        watched(url, told, PLAN.pace)

    assert told.counts[:9] == [str(count) for count in range(12, 21)]
    assert told.gaps == []


def test_numbers_of_any_size_and_names_tell_runs_of_an_agent_apart() -> None:
    def header(instance: str, following: int) -> str:
        return (
            f'instanceId="{instance}" nextSequence="{following}" firstSequence="1" '
            f'lastSequence="{following - 1}"'
        )

    told = Told(enough=2)
    runs = iter(["18446744073709551615", "18446744073709551615"])

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        given = header(next(runs, "run-b"), 8)
        if path.endswith("/probe"):
            return 200, _XML, [devices(header=given)]
        if path.endswith("/current"):
            return 200, _XML, [streams(header=given)]
        return 200, _XML, [streams("", header=given)]

    with answering(answer) as url:
        watched(url, told, Pace(poll_s=0.02, stream=False))

    assert (told.counts, told.gaps) == (["12", "12"], ["restarted"])


def test_an_agent_of_an_authority_that_nobody_knows_is_named(tmp_path: Path) -> None:
    certificate(tmp_path)
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.load_cert_chain(tmp_path / "broker.pem", tmp_path / "broker.key")
    with ExitStack() as stack:
        url = stack.enter_context(answering(plain(), tls))
        _, outcome = asked_once(url)

    assert outcome.state == "waiting"
    assert "its certificate is not trusted" in str(outcome.problem)


@pytest.mark.parametrize(
    ("status", "kind", "body", "says"),
    [
        (401, "text/plain", b"who are you", "status 401.*USER:PASSWORD"),
        (404, "text/html", b"nope", "status 404.*address is that of an agent"),
        (200, "text/html", b"<!DOCTYPE html><html><body><p>It works", "a web page"),
        (200, "application/json", b'{"MTConnectDevices": {}}', "JSON"),
        (200, "text/xml", document("Devices", "<Devices></Devices>"), "It has: none"),
        (200, "text/xml", b"<rss><channel/></rss>", "'rss', which is none of its documents"),
        (
            200,
            "text/xml",
            document(
                "Devices",
                '<Devices><Agent id="g" name="Agent"></Agent><Device id="a" name="A"></Device>'
                '<Device id="b" uuid="u-b"></Device></Devices>',
            ),
            "no device called agent. It has: A, u-b",
        ),
    ],
)
def test_whoever_answers_is_told_from_an_agent(
    status: int, kind: str, body: bytes, says: str
) -> None:
    with answering(lambda _path, _query: (status, {"Content-Type": kind}, [body])) as url:
        told, outcome = asked_once(url)

    assert told.counts == []
    assert re.search(says, str(outcome.problem)), outcome.problem


def test_each_device_of_an_agent_is_tried_out() -> None:
    one = devices().replace(b'id="d" name="D1" uuid="u1"', b'id="d1" name="L 1" uuid="u1"')
    other = devices(_count("t", "TARGET")).replace(b'name="D1"', b'name="L-2"')
    begin, end = (re.search(rb"<m:Device .*</m:Device>", other) or [b""])[0], b"</m:Devices>"
    both = one.replace(end, begin + end)

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        if path == "/probe":
            return 200, _XML, [both]
        if path == "/L-2/probe":
            return 200, _XML, [other]
        return plain()(path, query)

    async def ask() -> tuple[list[Source], list[Outcome]]:
        sources = await devices_of(url + "/", PLAN)
        return sources, await ask_once([(one, Kept()) for one in sources], told, now, PLAN)

    told = Told()
    with answering(answer) as url:
        sources, outcomes = loops.run(ask())

    assert [(one.machine, one.url) for one in sources] == [
        ("L 1", f"{url}/L%201"),
        ("L-2", f"{url}/L-2"),
    ]
    assert [one.state for one in outcomes] == ["following", "stopped"]
    assert told.counts == ["12"]


def test_an_agent_that_refuses_what_is_still_to_come_lost_nothing() -> None:
    told = Told(enough=8)
    made = [7]

    def header() -> str:
        return (
            f'instanceId="9" nextSequence="{made[0] + 1}" firstSequence="1" '
            f'lastSequence="{made[0]}"'
        )

    def said(sequence: int) -> str:
        event = SAYS.replace('"7"', f'"{sequence}"').replace(">12<", f">{sequence + 5}<")
        return event.replace("08:00:00", f"08:00:{sequence:02d}")

    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        if path.endswith("/probe"):
            return 200, _XML, [devices(header=header())]
        if path.endswith("/current"):
            found = streams(said(made[0]), header=header())
            made[0] += 2  # parts go on between two questions
            return 200, _XML, [found]
        begin, last = int(query["from"]), made[0]
        if begin > last:
            words = f"'from' must not be greater than {last}"
            refusal = f'<Errors><Error errorCode="OUT_OF_RANGE">{words}</Error></Errors>'
            return 400, _XML, [document("Error", refusal, header='instanceId="9"')]
        feed_now = "".join(said(number) for number in range(begin, last + 1))
        return 200, _XML, [streams(feed_now, header=header())]

    with answering(answer) as url:
        watched(url, told, Pace(poll_s=0.02, stream=False))

    assert told.gaps == []
    assert list(dict.fromkeys(told.counts))[:5] == ["12", "13", "14", "15", "16"]


def test_an_agent_that_holds_less_than_is_asked_for_is_asked_for_less() -> None:
    def answer(path: str, query: dict[str, str]) -> tuple[int, dict[str, str], list[bytes]]:
        header = 'instanceId="9" nextSequence="8" firstSequence="1" lastSequence="7"'
        if path.endswith("/probe"):
            return 200, _XML, [devices(header=header)]
        if path.endswith("/current"):
            return 200, _XML, [streams(header=header)]
        if int(query["count"]) > 20:
            refusal = "'count' must be less than 20"
            body = f'<Errors><Error errorCode="OUT_OF_RANGE">{refusal}</Error></Errors>'
            return 400, _XML, [document("Error", body)]
        event = SAYS.replace('"7"', '"8"').replace(">12<", ">13<").replace(":00Z", ":09Z")
        more = header.replace('"8"', '"9"').replace('"7"', '"8"')
        return 200, _XML, [streams(event, header=more)]

    told = Told(enough=2)

    with answering(answer) as url:
        watched(url, told, Pace(poll_s=0.02, stream=False))

    assert (told.counts[:2], told.gaps) == (["12", "13"], [])
