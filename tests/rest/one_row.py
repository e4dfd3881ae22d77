"""A busy shop, and a way to make the computation of one of its records fail."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest
from flask.testing import FlaskClient

from crib import left_out
from crib.store.engine import Store
from tests.rest.short_ways import SetClock, bench_of, client_of


class Made(NamedTuple):
    """A shop that was made: its database, to be copied, and when that ends."""

    path: Path
    at: datetime


@pytest.fixture(scope="session")
def busy_template(
    _shop_template: tuple[Path, SimpleNamespace], tmp_path_factory: pytest.TempPathFactory
) -> Made:
    """The busy shop's database, made once; ``store`` copies it for a test with ``busy``."""
    return make_shop(_shop_template, tmp_path_factory.mktemp("busy-template"), _make_busy)


def make_shop(
    small: tuple[Path, SimpleNamespace],
    folder: Path,
    happens: Callable[[FlaskClient, SetClock], None],
) -> Made:
    """Let something happen in a copy of the small shop, to be copied in turn."""
    path = folder / "crib.db"
    template, shop = small
    shutil.copy(template, path)
    store, clock = Store(f"sqlite:///{path}"), SetClock(shop.start + timedelta(hours=2))
    happens(client_of(store, clock), clock)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return Made(path, clock.at)


def _make_busy(client: FlaskClient, clock: SetClock) -> None:
    bench, count = bench_of(client), 0

    def drill(holder: str) -> str:
        code = bench.build(holder, tool_spec="CROSS-3", lot="LOT-D1")["code"]
        readings = [{"lf_mm": "60.001"}] * 3
        path = f"/v1/assemblies/{code}/presets"
        return str(bench.post(path, gauge="PG-1", readings=readings)["assembly"])

    def turn(holder: str) -> str:
        return str(bench.measure(bench.build(holder)["code"])["assembly"])

    def tell() -> None:
        nonlocal count
        count += 40
        clock.go_on(minutes=30)
        for machine in ("M1", "M2"):
            reading = {"at": clock.at.isoformat(), "count": count}
            bench.post("/v1/counts", 202, machine=machine, readings=[reading])

    bench.check_gauge()
    for first in (True, False):
        for station, make, holder in (("M1/T01", turn, "TH-"), ("M1/T11", drill, "DH-")):
            code = make(holder + ("1" if first else "2"))
            bench.post("/v1/mounts", station=station, assembly=code, part_count=count)
        tell()
        shown = client.get("/v1/forecasts")
        shown.get_data()
        shown.close()  # read to the end, so that it is kept
        tell()
        if first:
            for station in ("M1/T01", "M1/T11"):
                bench.post("/v1/removals", station=station, reason="worn_early")
    turn("TH-1")
    drill("DH-1")


@pytest.fixture
def busy(client, clock, shop, busy_template, monkeypatch) -> SimpleNamespace:
    """A turning tool and a drill: one each is worn out, one runs, one waits."""
    monkeypatch.setattr(left_out, "_TOLD", left_out._Told())
    clock.at = busy_template.at
    (run,) = (one["id"] for one in client.get("/v1/runs").get_json()["items"])

    return SimpleNamespace(client=client, run=run, shop=shop)


def rows(client: Any, path: str, members: str = "items") -> tuple[list[str], list[str]]:
    """Rows of a view as text, and its problems."""
    answer = client.get(path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    told = json.loads(answer.get_data(), parse_constant=pytest.fail)
    found = [row for name in members.split() for row in told[name]]
    if members == "racks":
        found = [tool for rack in found for tool in rack["tools"]]
    return [json.dumps(row, sort_keys=True) for row in found], told["problems"]


def text(client: Any, path: str, language: str = "en") -> str:
    answer = client.get(path, headers={"Accept-Language": language})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return str(answer.get_data(as_text=True))


def fail(monkeypatch: Any, module: Any, name: str, hits: Callable[..., bool]) -> None:
    made = getattr(module, name)

    def wrapped(*args: Any, **kwargs: Any) -> Any:
        if hits(*args, **kwargs):
            raise ZeroDivisionError("division by zero")
        return made(*args, **kwargs)

    monkeypatch.setattr(module, name, wrapped)
