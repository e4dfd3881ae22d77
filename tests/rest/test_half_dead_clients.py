"""The real service beside clients that send half, send slowly, read nothing, or leave."""

from __future__ import annotations

import http.client
import json
import os
import resource
import socket
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from tests.servers import RealServer, serving

HEAD = b"POST /v1/stops HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
HALF = HEAD + b'Content-Length: 400\r\n\r\n{"mach'
HALF_CHUNKED = HEAD + b'Transfer-Encoding: chunked\r\n\r\n6\r\n{"mach\r\n'
HALF_HEAD = b"POST /v1/stops HTTP/1.1\r\nHost: loc"
ASKS = b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n"
PERSON = {"badge": "B1", "name": "Attendant One", "role": "attendant"}


class Clients:
    """Open connections to one server."""

    def __init__(self, server: RealServer, opened: ExitStack) -> None:
        host, _, port = server.address.removeprefix("http://").partition(":")
        self.address = (host, int(port))
        self._opened = opened

    def open(self, sent: bytes = b"") -> socket.socket:
        one = self._opened.enter_context(socket.create_connection(self.address, timeout=60))
        one.sendall(sent)
        return one

    def answer(self, one: socket.socket) -> http.client.HTTPResponse:
        found = http.client.HTTPResponse(one)
        found.begin()
        return found


@pytest.fixture
def many() -> Iterator[int]:
    """How many half-sent bodies; twice as many connections idle. 500 where files allow it."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, 8192), hard))
    yield min(500, (min(hard, 8192) - 500) // 3)
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@contextmanager
def _server(folder: Path, workers: int = 1, **settings: str) -> Iterator[RealServer]:
    environment = os.environ | {"CRIB_DATABASE_URL": f"sqlite:///{folder}/crib.db"} | settings
    with serving(environment, workers, folder / "log") as server:
        yield server


def _problem(answer: http.client.HTTPResponse) -> dict[str, object]:
    assert answer.headers["Content-Type"] == "application/problem+json"
    found: dict[str, object] = json.loads(answer.read())
    assert found["status"] == answer.status
    return found


def test_everything_is_answered_beside_500_half_sent_bodies_and_1000_idle_connections(
    tmp_path: Path, many: int
) -> None:
    with ExitStack() as opened, _server(tmp_path, CRIB_BODY_SECONDS="600") as server:
        clients = Clients(server, opened)
        half = [clients.open(HALF) for _ in range(many)]
        half += [clients.open(HALF_CHUNKED) for _ in range(10)]
        half += [clients.open(HALF_HEAD) for _ in range(10)]
        half += [clients.open() for _ in range(2 * many)]
        for _ in range(10):  # reads nothing of what it is sent
            clients.open(ASKS.replace(b"/healthz", b"/v1/openapi.json") * 50)
        for _ in range(10):  # leaves in the middle
            clients.open(HALF).close()
        for _ in range(20):
            assert server.get("/healthz") == {"status": "alive"}
        assert server.post("/v1/people", **PERSON)["badge"] == "B1"
        assert len(server.get("/v1/people")["items"]) == 1
        _slow_but_whole(clients, half[0])
        # all of them are still held while the service stops, and it does not wait for them


def _slow_but_whole(clients: Clients, half: socket.socket) -> None:
    """What goes on is taken: a body in pieces, one after a question, two requests at once."""
    half.sendall(b'ine": "M1"' + b" " * (400 - 6 - 11) + b"}")
    assert clients.answer(half).status == 422
    body = json.dumps(PERSON | {"badge": "B2"}).encode()
    start = HEAD.replace(b"stops", b"people") + b"Content-Length: %d\r\n" % len(body)
    asking = clients.open(start + b"Expect: 100-continue\r\n\r\n")
    assert asking.recv(100).startswith(b"HTTP/1.1 100 ")
    asking.sendall(body)
    assert clients.answer(asking).status == 201
    piped = clients.open(ASKS + ASKS)
    got = b""
    while got.count(b'{"status":"alive"}') < 2:
        got += piped.recv(4096)


def test_a_body_that_does_not_come_whole_is_refused_and_nothing_of_it_is_recorded(
    tmp_path: Path,
) -> None:
    settings = {"CRIB_BODY_SECONDS": "1", "CRIB_MAX_BODY_MB": "1"}
    with ExitStack() as opened, _server(tmp_path, **settings) as server:
        clients = Clients(server, opened)
        slow = [clients.open(HALF), clients.open(HALF_CHUNKED)]
        for one in slow:
            answer = clients.answer(one)
            assert _problem(answer)["type"] == "/problems/body-too-slow"
            assert answer.status == 408
            assert answer.headers["Connection"] == "close"
        for broken in (HALF, HALF_CHUNKED):
            one = clients.open(broken)
            one.shutdown(socket.SHUT_WR)
            assert _problem(clients.answer(one))["type"] == "/problems/bad-request"
        # bodies over the limit: in chunks, at once, and only asked about
        whole = json.dumps(PERSON).encode()
        start = HEAD.replace(b"stops", b"people")
        chunk = b"%x\r\n%s\r\n" % (1 << 19, whole.ljust(1 << 19))
        blanks = b"%x\r\n%s\r\n" % (1 << 19, b" " * (1 << 19))
        chunked = (
            start + b"Transfer-Encoding: chunked\r\n\r\n" + chunk + blanks * 2 + b"0\r\n\r\n"
        )
        long = start + b"Content-Length: 3000000\r\n"
        for sent in (
            chunked,
            long + b"\r\n" + whole.ljust(3_000_000),
            long + b"Expect: 100-continue\r\n\r\n",
        ):
            answer = clients.answer(clients.open(sent))
            assert _problem(answer)["type"] == "/problems/too-large"
            assert answer.status == 413
        both = start + b"Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
        assert clients.answer(clients.open(both)).status == 400
    with sqlite3.connect(tmp_path / "crib.db") as database:
        assert database.execute("SELECT count(*) FROM people").fetchone() == (0,)
    database.close()
