"""The service over the small shop, with a clock that the test sets."""

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
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.settings import Settings
from crib.store.engine import Store


class SetClock:
    """A clock that stands still until it is moved."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def go_on(self, **units: float) -> datetime:
        self.at += timedelta(**units)
        return self.at


@pytest.fixture
def clock(shop: SimpleNamespace) -> SetClock:
    """Two hours into the Monday on which the small shop begins."""
    return SetClock(shop.start + timedelta(hours=2))


@pytest.fixture
def client(store: Store, shop: SimpleNamespace, clock: SetClock) -> FlaskClient:
    """A client of the service over the small shop."""
    app = create_app(Settings(store.url), store, clock)
    return app.test_client()


@pytest.fixture
def rows(store: Store) -> Callable[[str], int]:
    """How many rows a table holds."""

    def count(table: str) -> int:
        with store.read() as tx:
            return int(tx.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())

    return count


@pytest.fixture
def bench(client: FlaskClient) -> SimpleNamespace:
    """Short ways to a checked gauge, a built and a measured tool."""

    def post(path: str, status: int = 201, **body: Any) -> dict[str, Any]:
        answer = client.post(path, json=body)
        assert answer.status_code == status, answer.get_data(as_text=True)
        found: dict[str, Any] = answer.get_json()
        return found

    def check_gauge() -> dict[str, Any]:
        readings = [
            {"lf_mm": lf, "wf_mm": wf}
            for lf, wf in (
                ("100.0001", "50.0000"),
                ("100.0000", "50.0001"),
                ("99.9999", "49.9999"),
                ("100.0000", "50.0000"),
                ("100.0001", "50.0000"),
                ("99.9999", "50.0000"),
                ("100.0000", "50.0001"),
                ("100.0000", "49.9999"),
                ("100.0001", "50.0000"),
                ("99.9999", "50.0000"),
            )
        ]
        return post("/v1/gauge-checks", gauge="PG-1", readings=readings, by="B1")

    def build(holder: str = "TH-1", **more: Any) -> dict[str, Any]:
        body = {"tool_spec": "TURN-OD", "holder": holder, "lot": "LOT-I1", "by": "B1"}
        return post("/v1/assemblies", **(body | more))

    def measure(code: str, lf: str = "80.001") -> dict[str, Any]:
        readings = [
            {"lf_mm": lf, "wf_mm": "16.0102", "re_mm": "0.8"},
            {"lf_mm": lf, "wf_mm": "16.0104", "re_mm": "0.8"},
            {"lf_mm": lf, "wf_mm": "16.0103", "re_mm": "0.8"},
        ]
        path = f"/v1/assemblies/{code}/presets"
        return post(path, gauge="PG-1", readings=readings, by="B1")

    def ready(holder: str = "TH-1") -> str:
        """Code of a tool that was built and measured, its gauge checked before."""
        check_gauge()
        return str(measure(build(holder)["code"])["assembly"])

    return SimpleNamespace(
        post=post, check_gauge=check_gauge, build=build, measure=measure, ready=ready
    )


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
            with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310 - as above
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


@contextmanager
def _serving(environment: dict[str, str], workers: int, log: Path) -> Iterator[RealServer]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["serve", "--port", str(port), "--workers", str(workers), "--no-access-log"]
    with log.open("wb") as told:
        process = subprocess.Popen(_command(*words), env=environment, stdout=told, stderr=told)
        try:
            server = RealServer(f"http://127.0.0.1:{port}")
            for _ in range(600):
                try:
                    ready = server.ask("GET", "/readyz").status == 200
                except OSError:
                    ready = False
                if ready or process.poll() is not None:
                    break
                time.sleep(0.05)
            assert ready, log.read_text()
            yield server
            process.send_signal(signal.SIGTERM)
            assert process.wait(timeout=20) == 0, log.read_text()
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
            _command(*words), env=environment, capture_output=True, text=True, timeout=120
        )

    return run


@pytest.fixture
def start_server(tmp_path: Path) -> Iterator[Callable[..., RealServer]]:
    """Start real servers: (database URL, workers, CRIB_* settings); all end with the test."""
    with ExitStack() as running:

        def start(database_url: str, workers: int = 1, **settings: str) -> RealServer:
            environment = os.environ | {"CRIB_DATABASE_URL": database_url} | settings
            log = tmp_path / f"server-{time.monotonic_ns()}.log"
            return running.enter_context(_serving(environment, workers, log))

        yield start
