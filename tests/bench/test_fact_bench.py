"""One durable fact after the other, against a bare write and fdatasync."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from api import create_app
from api.settings import Settings
from crib.acts.report_stop import ReportStop, report_stop
from crib.store.engine import Store

FACTS = 200


def _per_second(work: Callable[[], object]) -> float:
    """The best of three rounds."""
    best = float("inf")
    for _ in range(3):
        begin = time.perf_counter()
        for _ in range(FACTS):
            work()
        best = min(best, time.perf_counter() - begin)
    return FACTS / best


def _ceiling(path: Path) -> float:
    """Append a page as a log of writes does, and wait until it is on the disk."""
    descriptor = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    page = os.urandom(4096)

    def write() -> None:
        os.write(descriptor, page)
        os.fdatasync(descriptor)

    try:
        return _per_second(write)
    finally:
        os.close(descriptor)


@pytest.mark.bench
def test_durable_facts_over_bare_durable_writes(
    shop: SimpleNamespace, store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at: datetime = shop.start + timedelta(hours=2)
    client = create_app(Settings(store.url), store, lambda: at).test_client()
    body: dict[str, Any] = {"machine": "M2", "reason": "bar feeder jammed", "by": "B2"}

    def bare_transaction() -> None:
        with store.write() as tx:
            tx.exec_driver_sql("INSERT INTO bench_rows (said) VALUES ('bar feeder jammed')")

    def use_case() -> None:
        with store.write() as tx:
            report_stop(tx, at, ReportStop(**body))

    def request() -> None:
        assert client.post("/v1/stops", json=body).status_code == 201

    with store.write() as tx:
        tx.exec_driver_sql("CREATE TABLE bench_rows (id INTEGER PRIMARY KEY, said TEXT)")
    ceiling = _ceiling(tmp_path / "bare")
    rates = {
        "one row in a transaction": _per_second(bare_transaction),
        "a stop, use case": _per_second(use_case),
        "a stop, POST in process": _per_second(request),
    }

    with capsys.disabled():
        print(f"\nwrite + fdatasync: {ceiling:,.0f}/s", end="")
        for name, rate in rates.items():
            print(f"\n{name}: {rate:,.0f}/s, {rate / ceiling:.2f}", end="")
        print()
