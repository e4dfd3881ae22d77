"""The service over a database, a clock that a test sets, and short ways to a measured tool."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from types import SimpleNamespace
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from api import create_app
from api.application import attach_site
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


@cache
def _shared_app() -> Flask:
    """Putting the routes together takes longer than most tests; they are the same for all."""
    return create_app(Settings(""), Store("sqlite://"))


def client_of(store: Store, clock: SetClock, settings: Settings | None = None) -> FlaskClient:
    """A client of the service over a database; it takes the place of the one before."""
    app = _shared_app()
    attach_site(app, settings or Settings(store.url), store, clock)
    return app.test_client()


def bench_of(client: FlaskClient) -> SimpleNamespace:
    """Short ways to a checked gauge, a built and a measured tool of the small shop."""

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
