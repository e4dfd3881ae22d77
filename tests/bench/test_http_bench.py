"""Answers in process against a bare Flask route, and the start against the libraries' own."""

from __future__ import annotations

import io
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask import Flask

from api import create_app
from api.settings import Settings
from crib.store.engine import Store

HEAVY = ("numpy", "scipy", "scipy.stats", "reportlab", "PIL")


def _bare() -> Flask:
    app = Flask("bare")

    @app.get("/small/<code>")
    def small(code: str) -> dict[str, str]:
        return {"code": code, "kind": "tool"}

    return app


def _microseconds(work: Callable[[], object], times: int = 300) -> float:
    """Best of five rounds, so that a busy machine spoils none of both."""
    best = float("inf")
    for _ in range(5):
        begin = time.perf_counter()
        for _ in range(times):
            work()
        best = min(best, time.perf_counter() - begin)
    return best / times * 1e6


def _wsgi(app: Flask, path: str) -> Callable[[], bytes]:
    """Call the application itself: no client's own work in the measure."""

    def call() -> bytes:
        environ: dict[str, Any] = {
            "REQUEST_METHOD": "GET",
            "SCRIPT_NAME": "",
            "PATH_INFO": path,
            "QUERY_STRING": "",
            "SERVER_NAME": "127.0.0.1",
            "SERVER_PORT": "8000",
            "SERVER_PROTOCOL": "HTTP/1.1",
            "HTTP_HOST": "127.0.0.1:8000",
            "wsgi.version": (1, 0),
            "wsgi.url_scheme": "http",
            "wsgi.input": io.BytesIO(),
            "wsgi.errors": sys.stderr,
            "wsgi.multithread": True,
            "wsgi.multiprocess": True,
            "wsgi.run_once": False,
        }
        said: list[str] = []
        parts = app(environ, lambda status, headers, exc_info=None: said.append(status))
        body = b"".join(parts)
        assert said[0].startswith("200"), (said, body)
        return body

    return call


@pytest.fixture
def app(store: Store, shop: SimpleNamespace) -> Flask:
    """The service over the small shop with one tool mounted."""
    at = shop.start + timedelta(hours=2)
    app = create_app(Settings(store.url), store, lambda: at)
    client = app.test_client()

    def post(path: str, **body: Any) -> Any:
        answer = client.post(path, json=body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        return answer.get_json()

    checks = [{"lf_mm": f"100.000{n % 2}", "wf_mm": "50"} for n in range(10)]
    post("/v1/gauge-checks", gauge="PG-1", readings=checks)
    built = post("/v1/assemblies", tool_spec="TURN-OD", holder="TH-1", lot="LOT-I1")
    readings = [{"lf_mm": "80.001", "wf_mm": "16.0103", "re_mm": "0.8"}] * 3
    preset = post(
        f"/v1/assemblies/{built['code']}/presets", gauge="PG-1", readings=readings, by="B1"
    )
    post("/v1/mounts", station="M1/T01", assembly=preset["assembly"])
    shop.tool = preset["assembly"]
    return app


@pytest.mark.bench
@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("scan of a mounted tool", "/v1/scan/{tool}"),
        ("scan of its station's plate", "/v1/scan/{station}"),
        ("tool spec (19 columns)", "/v1/tool-specs/TURN-OD"),
        ("machine", "/v1/machines/M1"),
        ("assembly with all on record", "/v1/assemblies/{tool}"),
    ],
)
def test_an_answer_over_a_bare_route(
    name: str, path: str, app: Flask, shop: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = _bare()
    path = path.format(tool=shop.tool, station=shop.codes["stations"]["M1/T01"])
    ours, ceiling = _wsgi(app, path), _wsgi(bare, "/small/x")
    client, bare_client = app.test_client(), bare.test_client()
    leaves = _leaves(client.get(path).get_json())

    direct = _microseconds(ours), _microseconds(ceiling)
    through = (
        _microseconds(lambda: client.get(path)),
        _microseconds(lambda: bare_client.get("/small/x")),
    )

    with capsys.disabled():
        for way, (mine, least) in (("WSGI", direct), ("test client", through)):
            print(
                f"\n{name}, {leaves} values, {way}: {mine:.0f} us, bare Flask"
                f" {least:.0f} us, {mine / least:.2f}",
                end="",
            )


def _leaves(value: Any) -> int:
    if isinstance(value, dict):
        return sum(_leaves(one) for one in value.values())
    if isinstance(value, list):
        return sum(_leaves(one) for one in value)
    return 1


def _fresh(program: str) -> list[str]:
    """Run in a fresh interpreter; prints seconds first, then the heavy modules loaded."""
    script = (
        "import sys, time\nbegin = time.perf_counter()\n"
        f"{program}\n"
        "print(time.perf_counter() - begin)\n"
        f"print(*[name for name in {HEAVY} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.mark.bench
def test_the_start_over_that_of_the_libraries(capsys: pytest.CaptureFixture[str]) -> None:
    ours = "import api.application"
    least = "import flask_smorest, sqlalchemy.orm"
    seconds = {
        program: min(float(_fresh(program)[0]) for _ in range(4)) for program in (ours, least)
    }
    heavy = _fresh(ours)[1]
    with capsys.disabled():
        print(
            f"\nimport of the service: {seconds[ours]:.3f} s, flask_smorest and sqlalchemy.orm"
            f" {seconds[least]:.3f} s, {seconds[ours] / seconds[least]:.2f};"
            f" heavy modules loaded at start: {heavy or 'none'}"
        )
