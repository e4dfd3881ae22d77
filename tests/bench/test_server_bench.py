"""Writers and readers over HTTP at once, against the same work done directly by one."""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from crib.acts.count_columns import columns_from_json
from crib.acts.report_counts import ReportCounts, report_counts
from crib.acts.report_stop import ReportStop, report_stop
from crib.store.engine import Store

WRITERS, WRITES = 8, 60
BATCH, BATCHES = 500, 40
BODY: dict[str, Any] = {"machine": "M2", "reason": "bar feeder jammed", "by": "B2"}


class Talker:
    """One connection that is kept, as a machine's feed would."""

    def __init__(self, address: str) -> None:
        self.connection = http.client.HTTPConnection(address.removeprefix("http://"))
        self.seconds: list[float] = []
        self.bad = 0

    def ask(self, method: str, path: str, body: Any = None, good: int = 200) -> None:
        data = None if body is None else json.dumps(body)
        begin = time.perf_counter()
        self.connection.request(method, path, data, {"Content-Type": "application/json"})
        answer = self.connection.getresponse()
        answer.read()
        self.seconds.append(time.perf_counter() - begin)
        self.bad += answer.status != good


@pytest.fixture
def talk() -> Iterator[Callable[[str], Talker]]:
    """Open connections that close with the test."""
    with ExitStack() as opened:

        def connect(address: str) -> Talker:
            talker = Talker(address)
            opened.callback(talker.connection.close)
            return talker

        yield connect


def _quantile(seconds: list[float], share: float) -> float:
    return sorted(seconds)[min(len(seconds) - 1, int(share * len(seconds)))] * 1000


@pytest.mark.bench
def test_eight_writers_and_a_reader_over_one_direct_writer(
    store: Store,
    shop: SimpleNamespace,
    start_server: Callable[..., Any],
    talk: Callable[[str], Talker],
    capsys: pytest.CaptureFixture[str],
) -> None:
    begin = time.perf_counter()
    for _ in range(WRITERS * WRITES):
        with store.write() as tx:
            report_stop(tx, datetime.now(UTC), ReportStop(**BODY))
    direct = WRITERS * WRITES / (time.perf_counter() - begin)
    server = start_server(store.url, workers=2)
    alone, reader = talk(server.address), talk(server.address)
    writers = [talk(server.address) for _ in range(WRITERS)]
    for _ in range(200):
        alone.ask("GET", "/v1/scan/M1/T01")
    done: list[int] = []

    def write(talker: Talker) -> None:
        for _ in range(WRITES):
            talker.ask("POST", "/v1/stops", BODY, 201)
        done.append(1)

    def read() -> None:
        while len(done) < WRITERS:
            reader.ask("GET", "/v1/scan/M1/T01")

    begin = time.perf_counter()
    with ThreadPoolExecutor(WRITERS + 1) as threads:
        reading = threads.submit(read)
        list(threads.map(write, writers))
        took = time.perf_counter() - begin
        reading.result()
    writes = [second for talker in writers for second in talker.seconds]
    refused = sum(talker.bad for talker in writers)
    with store.read() as tx:
        kept = tx.exec_driver_sql("SELECT count(*) FROM stops").scalar_one()

    rate = len(writes) / took
    with capsys.disabled():
        print(
            f"\neight writers over HTTP: {refused} refused, {rate:,.0f}/s, one direct writer"
            f" {direct:,.0f}/s, {rate / direct:.2f}; p50 {_quantile(writes, 0.5):.1f} ms,"
            f" p99 {_quantile(writes, 0.99):.1f} ms,"
            f" {_quantile(writes, 0.99) / _quantile(writes, 0.5):.1f}"
            f"\na reader beside them: p99 {_quantile(reader.seconds, 0.99):.1f} ms, alone p50"
            f" {_quantile(alone.seconds, 0.5):.1f} ms, p99 {_quantile(alone.seconds, 0.99):.1f}"
            f" ms; over its own p50 beside them ({_quantile(reader.seconds, 0.5):.1f} ms)"
            f" {_quantile(reader.seconds, 0.99) / _quantile(reader.seconds, 0.5):.1f}"
        )
    assert (refused, reader.bad, alone.bad) == (0, 0, 0)
    assert kept == 2 * WRITERS * WRITES


@pytest.mark.bench
def test_counts_in_batches_over_http_over_the_direct_batches(
    store: Store,
    shop: SimpleNamespace,
    start_server: Callable[..., Any],
    talk: Callable[[str], Talker],
    capsys: pytest.CaptureFixture[str],
) -> None:
    begun = datetime.now(UTC).replace(microsecond=0) - timedelta(days=20)

    def batch(number: int) -> list[dict[str, Any]]:
        return [
            {"at": (begun + timedelta(seconds=45 * n)).isoformat(), "count": n}
            for n in range(BATCH * number, BATCH * (number + 1))
        ]

    batches = [batch(number) for number in range(BATCHES)]
    begin = time.perf_counter()
    for readings in batches:
        columns = columns_from_json(readings)
        with store.write() as tx:
            report_counts(tx, datetime.now(UTC), ReportCounts("M2", columns))
    direct = BATCH * BATCHES / (time.perf_counter() - begin)
    server = start_server(store.url, workers=1)
    talker = talk(server.address)
    begin = time.perf_counter()
    for readings in batches:
        talker.ask("POST", "/v1/counts", {"machine": "M1", "readings": readings}, 202)
    rate = BATCH * BATCHES / (time.perf_counter() - begin)

    with capsys.disabled():
        print(
            f"\ncounts in batches of {BATCH} over HTTP: {rate:,.0f}/s, direct"
            f" {direct:,.0f}/s, {rate / direct:.2f}"
        )
    assert talker.bad == 0
