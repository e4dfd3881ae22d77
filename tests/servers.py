"""Real servers and the command line, in processes of their own."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from api.serving import KILLED_AFTER_S
from tests.starter import Started, Starter


@dataclass(frozen=True, slots=True)
class Answer:
    """What a real server answered."""

    status: int
    headers: Any
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass(frozen=True, slots=True)
class RealServer:
    """A server process on loopback, spoken to with the standard library alone."""

    address: str

    def ask(self, method: str, path: str, body: Any = None, key: str | None = None) -> Answer:
        headers = {"Content-Type": "application/json"} if body is not None else {}
        if key:
            headers["Idempotency-Key"] = key
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(  # noqa: S310 - loopback, http
            self.address + path, data, headers, method=method
        )
        try:
            with urllib.request.urlopen(request, timeout=300) as answer:  # noqa: S310 - as above
                return Answer(answer.status, answer.headers, answer.read())
        except urllib.error.HTTPError as refused:
            with refused:
                return Answer(refused.code, refused.headers, refused.read())

    def get(self, path: str) -> Any:
        answer = self.ask("GET", path)
        assert answer.status == 200, answer.body.decode()
        return answer.json

    def post(self, path: str, status: int = 201, key: str | None = None, **body: Any) -> Any:
        answer = self.ask("POST", path, body, key)
        assert answer.status == status, answer.body.decode()
        return answer.json


def _command(*words: str) -> list[str]:
    return [sys.executable, "-c", "from api.cli import main; main()", *words]


def was_killed(log: bytes, stop_s: float) -> bool:
    """Whether a process of a server had to be killed because it did not stop by itself.

    The word in the log is not enough: the server also says it of a process that has ended, when
    the thread that waited for its end has had no time yet to write that down.

    Args:
        log: What the server said.
        stop_s: How long it took to stop [s].
    """
    return b"Killing" in log and stop_s >= KILLED_AFTER_S


@contextmanager
def serving(
    environment: dict[str, str], workers: int, log: Path, starter: Starter | None = None
) -> Iterator[RealServer]:
    """A server process that lives as long as the body, with nothing but this environment.

    Args:
        environment: All that it finds there.
        workers: How many of its processes serve.
        log: Takes what it says.
        starter: What starts it quickly; None for the command line itself.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["serve", "--port", str(port), "--workers", str(workers), "--no-access-log"]
    with log.open("wb") as told:
        process: Started | subprocess.Popen[bytes] = (
            starter.start(words, environment, log)
            if starter is not None
            else subprocess.Popen(_command(*words), env=environment, stdout=told, stderr=told)
        )
        try:
            server = RealServer(f"http://127.0.0.1:{port}")
            for _ in range(6000):
                try:
                    ready = server.ask("GET", "/readyz").status == 200
                except OSError:
                    ready = False
                # A process told to stop while it still starts does not hear it, and is only
                # killed half a minute later.
                ready = ready and log.read_bytes().count(b"Started worker-") >= workers
                if ready or process.poll() is not None:
                    break
                time.sleep(0.05)
            assert ready, log.read_text()
            yield server
            began = time.monotonic()
            process.send_signal(signal.SIGTERM)
            assert process.wait(timeout=120) == 0, log.read_text()
            assert not was_killed(log.read_bytes(), time.monotonic() - began)
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()


@pytest.fixture
def crib_command(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line in a process of its own: (database URL, words)."""

    def run(database_url: str, *words: str) -> subprocess.CompletedProcess[str]:
        environment = os.environ | {"CRIB_DATABASE_URL": database_url}
        return subprocess.run(
            _command(*words), env=environment, capture_output=True, text=True, timeout=600
        )

    return run


@pytest.fixture
def start_server(tmp_path: Path, starter: Starter) -> Iterator[Callable[..., RealServer]]:
    """Start real servers: (database URL, workers, CRIB_* settings); all end with the test."""
    with ExitStack() as running:

        def start(database_url: str, workers: int = 1, **settings: str) -> RealServer:
            environment = os.environ | {"CRIB_DATABASE_URL": database_url} | settings
            log = tmp_path / f"server-{time.monotonic_ns()}.log"
            return running.enter_context(serving(environment, workers, log, starter))

        yield start
