"""Taking in part counts, against the bare insert of the same rows."""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from crib.acts.count_columns import columns_from_json
from crib.acts.report_counts import ReportCounts, report_counts
from crib.clock import us_from_instant
from crib.store.engine import Store
from crib.store.facts import add_fact

COUNT = 50_000


def _seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def _ceiling(path: Path, rows: list[tuple[int, int, int, int, int, None, int]]) -> float:
    """A bare executemany into a bare table of the same shape, durable; the best of three."""
    best = float("inf")
    for turn in range(3):
        raw = sqlite3.connect(path / f"raw{turn}.db", isolation_level=None)
        raw.execute("PRAGMA journal_mode=WAL")
        raw.execute("PRAGMA synchronous=FULL")
        raw.execute(
            "CREATE TABLE readings (machine_id INTEGER, at INTEGER, count INTEGER,"
            " life INTEGER, total INTEGER, run_id INTEGER, batch_id INTEGER,"
            " PRIMARY KEY (machine_id, at))"
            " WITHOUT ROWID"
        )

        def insert(raw: sqlite3.Connection = raw) -> None:
            raw.execute("BEGIN IMMEDIATE")
            raw.executemany("INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            raw.execute("COMMIT")

        best = min(best, _seconds(insert))
        raw.close()
    return best


def _constrained(store: Store, shop: SimpleNamespace, rows: list[tuple[object, ...]]) -> float:
    """The same executemany into the real table: its keys, checks and triggers at work."""
    machine = shop.ids["machines"]["M2"]
    with store.write() as tx:
        batch = add_fact(tx, "count", shop.start, shop.start, None)
        driver = tx.connection.driver_connection
        assert driver is not None
        ours = [(machine, *row[1:6], batch) for row in rows]
        statement = (
            "INSERT INTO count_readings (machine_id, at, count, life, total, run_id, batch_id)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)"
        )
        return _seconds(lambda: driver.executemany(statement, ours))


@pytest.mark.bench
def test_counts_over_a_bare_insert(
    shop: SimpleNamespace, store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start_us = us_from_instant(shop.start)
    rows = [(1, start_us + 60_000_000 * k, k, 0, k, None, 1) for k in range(COUNT)]
    ceiling_s = _ceiling(tmp_path, rows)
    constrained_s = _constrained(store, shop, rows)
    late = shop.start + timedelta(days=400)
    results = {}
    for turn in range(3):
        begin = shop.start + timedelta(minutes=COUNT * turn)
        body = json.dumps(
            [
                {
                    "at": (begin + timedelta(minutes=k)).isoformat().replace("+00:00", "Z"),
                    "count": COUNT * turn + k,
                }
                for k in range(COUNT)
            ]
        )
        readings = json.loads(body)

        def take(readings: list[dict[str, object]] = readings) -> None:
            columns = columns_from_json(readings)
            with store.write() as tx:
                done = report_counts(tx, late, ReportCounts("M1", columns))
            results["accepted"] = done.accepted
            results["duplicates"] = done.duplicates

        results["first_s"] = min(results.get("first_s", 9e9), _seconds(take))
        assert results["accepted"] == COUNT
        results["again_s"] = min(results.get("again_s", 9e9), _seconds(take))
        assert results["duplicates"] == COUNT

    with capsys.disabled():
        print(
            f"\n{COUNT} counts: bare insert {COUNT / ceiling_s:,.0f}/s, into the real table"
            f" {COUNT / constrained_s:,.0f}/s; read from JSON, judged and taken in"
            f" {COUNT / results['first_s']:,.0f}/s, ratio to bare"
            f" {ceiling_s / results['first_s']:.2f}, to the real table"
            f" {constrained_s / results['first_s']:.2f}; the same again"
            f" {COUNT / results['again_s']:,.0f}/s, ratio {ceiling_s / results['again_s']:.2f}"
        )
