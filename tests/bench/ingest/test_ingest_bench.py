"""Counts of a thousand machines a second, over HTTP and in process, against raw sqlite3."""

from __future__ import annotations

import http.client
import json
import sqlite3
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from crib.acts.book_feed import CountNews, FeedNews, book_feed
from crib.acts.book_going_on import book_going_on
from crib.outlook.plan_cache import PlanCache
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import MACHINES
from crib.store.engine import Store
from crib.store.records import insert_record
from tests.bench.test_swap_list_bench import NOW, build_floor
from tests.servers import RealServer

MACHINES_MANY = 1_000
SECONDS = 10
BATCH = 500
BATCHES = 60


def _machines(store: Store) -> list[str]:
    names = [f"B{number:04d}" for number in range(MACHINES_MANY)]
    with store.write() as tx:
        for name in names:
            insert_record(tx, MACHINES, {"machine": name})
    return names


def _raw_s(path: Path, transactions: int, rows: int) -> float:
    """Bare inserts of as many rows in as many durable transactions [s]."""
    raw = sqlite3.connect(path / "raw.db", isolation_level=None)
    raw.execute("PRAGMA journal_mode=WAL")
    raw.execute("PRAGMA synchronous=FULL")
    raw.execute(
        "CREATE TABLE readings (machine_id INTEGER, at INTEGER, count INTEGER, life INTEGER,"
        " total INTEGER, run_id INTEGER, batch_id INTEGER, PRIMARY KEY (machine_id, at))"
        " WITHOUT ROWID"
    )
    begin = time.perf_counter()
    for turn in range(transactions):
        raw.execute("BEGIN IMMEDIATE")
        raw.executemany(
            "INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?)",
            [(row, turn, turn, 0, turn, None, turn) for row in range(rows)],
        )
        raw.execute("COMMIT")
    spent = time.perf_counter() - begin
    raw.close()
    return spent


def _second(names: list[str], start: datetime, second: int) -> list[FeedNews]:
    at = start + timedelta(seconds=second)
    return [
        FeedNews(name, "mtconnect", at, [CountNews(at, str(second))], place=(1, second))
        for name in names
    ]


@pytest.mark.bench
def test_a_thousand_machines_each_second(
    store: Store, shop: SimpleNamespace, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = _machines(store)
    spent = []
    for second in range(SECONDS):
        news = _second(names, shop.start, second)
        begin = time.perf_counter()
        with store.write() as tx:
            done = book_going_on(tx, shop.start + timedelta(minutes=1), news)
            for one, booked in zip(news, done, strict=True):
                if not booked:
                    book_feed(tx, shop.start + timedelta(minutes=1), one)
        spent.append(time.perf_counter() - begin)
    raw_s = _raw_s(tmp_path, SECONDS, MACHINES_MANY) / SECONDS
    mean_s = sum(spent) / SECONDS

    with store.read() as tx:
        found = tx.exec_driver_sql("SELECT count(*) FROM count_readings").scalar_one()
    assert found == MACHINES_MANY * SECONDS
    with capsys.disabled():
        print(
            f"\n{MACHINES_MANY} machines, one reading and place each, in one transaction:"
            f" {mean_s:.3f} s of each second (longest {max(spent):.3f}),"
            f" {MACHINES_MANY / mean_s:,.0f}/s; raw sqlite3 {raw_s:.3f} s, ratio"
            f" {raw_s / mean_s:.2f}"
        )


@pytest.mark.bench
def test_the_plan_is_fresh_soon_after_all_machines_spoke(
    store: Store, capsys: pytest.CaptureFixture[str]
) -> None:
    build_floor(store, MACHINES_MANY, 10)
    cache = PlanCache(store)
    known, spent, listed = [], [], 0
    make_swap_list(cache.plan(NOW), 24)
    for turn in range(1, 4):
        now = NOW + timedelta(seconds=turn)
        news = [
            FeedNews(f"M{m}", "mqtt", now, [CountNews(now, str(8 * 85 + turn))])
            for m in range(MACHINES_MANY)
        ]
        begin = time.perf_counter()
        with store.write() as tx:
            assert all(book_going_on(tx, now, news))
        plan = cache.plan(now)
        known.append(time.perf_counter() - begin)
        listed = len(make_swap_list(plan, 24).rows)
        spent.append(time.perf_counter() - begin)
        assert {one.parts_made for one in plan.forecasts} == {8 * 85 + turn}
    with capsys.disabled():
        print(
            f"\n{MACHINES_MANY} machines of 10 stations: from their readings to forecasts that"
            f" know them {min(known):.1f} to {max(known):.1f} s, to a list of their {listed}"
            f" swaps {min(spent):.1f} to {max(spent):.1f} s"
        )


@pytest.mark.bench
def test_batches_over_http(
    store: Store,
    shop: SimpleNamespace,
    start_server: Callable[..., RealServer],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    server = start_server(store.url)
    host = server.address.removeprefix("http://")
    bodies = [_body(shop.start, turn) for turn in range(BATCHES)]
    connection = http.client.HTTPConnection(host, timeout=60)
    headers = {"Content-Type": "application/json"}
    begin = time.perf_counter()
    for body in bodies:
        connection.request("POST", "/v1/counts", body, headers)
        answer = connection.getresponse()
        told: dict[str, Any] = json.loads(answer.read())
        assert (answer.status, told["accepted"]) == (202, BATCH), told
    spent = time.perf_counter() - begin
    connection.close()
    raw_s = _raw_s(tmp_path, BATCHES, BATCH)

    with capsys.disabled():
        print(
            f"\n{BATCHES} batches of {BATCH} over HTTP, each durable: "
            f"{BATCH * BATCHES / spent:,.0f} readings/s; raw sqlite3"
            f" {BATCH * BATCHES / raw_s:,.0f}/s, ratio {raw_s / spent:.2f}"
        )


def _body(start: datetime, turn: int) -> str:
    readings = []
    for k in range(turn * BATCH, (turn + 1) * BATCH):
        at = (start + timedelta(seconds=20 * k)).isoformat()
        readings.append({"at": at, "count": k})
    return json.dumps({"machine": "M2", "readings": readings})
