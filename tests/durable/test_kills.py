"""The service is killed while clients post, again and again: what they were told is so."""

from __future__ import annotations

import http.client
import os
import random
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from crib.clock import parse_instant, us_from_instant
from crib.store.checking import check
from crib.store.engine import Store
from tests.durable.clients import Client

#: How often the service is killed; CI sets more.
KILLS = int(os.environ.get("CRIB_TEST_KILLS", "12"))


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@contextmanager
def _service(url: str, port: int, log: Path) -> Iterator[None]:
    """The real service in a process group of its own, killed at the end without a word."""
    words = ["serve", "--port", str(port), "--workers", "1", "--no-access-log"]
    with log.open("ab") as said:
        process = subprocess.Popen(
            [sys.executable, "-c", "from api.cli import main; main()", *words],
            env=os.environ | {"CRIB_DATABASE_URL": url},
            start_new_session=True,
            stdout=said,
            stderr=said,
        )
    try:
        until = time.monotonic() + 60
        while not _answers(port):
            assert process.poll() is None, log.read_text()
            assert time.monotonic() < until, log.read_text()
            time.sleep(0.01)
        yield
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def _answers(port: int) -> bool:
    probe = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
    try:
        probe.request("GET", "/healthz")
        return probe.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        probe.close()


def test_what_clients_were_told_is_in_the_database_after_every_kill(
    store: Store, shop: SimpleNamespace, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    seed = int(os.environ.get("CRIB_TEST_SEED", "1"))
    chance = random.Random(seed)  # noqa: S311 - when to kill
    port = _free_port()
    clients = [
        Client(lambda: ("127.0.0.1", port), machine, shop.start + timedelta(hours=hours))
        for machine, hours in (("M1", 0), ("M2", 0))
    ]
    for client in clients:
        client.start()

    for _ in range(KILLS):
        with _service(store.url, port, tmp_path / "log"):
            time.sleep(chance.uniform(0.0, 0.4))
    with _service(store.url, port, tmp_path / "log"):
        for client in clients:
            client.ended.set()
        for client in clients:
            client.join(timeout=60)
            assert not client.is_alive()

    told = [client.told for client in clients]
    found = _rows(store, "SELECT count(*) FROM count_readings")
    stops = _rows(store, "SELECT count(*) FROM stops")
    kept = {machine: dict(_pairs(store, machine)) for machine in (c.machine for c in clients)}
    lost = sum(
        kept[client.machine].get(_us(at)) != count
        for client in clients
        for at, count in client.told.counts.items()
    )
    acknowledged = sum(len(one.counts) for one in told)
    with capsys.disabled():
        sys.stdout.write(
            f"\nkills {KILLS} (seed {seed}), retries {sum(one.retries for one in told)}, counts"
            f" acknowledged {acknowledged}, found {found}, lost {lost}, doubled"
            f" {found - acknowledged}; stops acknowledged {sum(one.stops for one in told)},"
            f" found {stops}\n"
        )
    assert [line for one in told for line in one.refused] == []
    assert acknowledged > 5 * KILLS
    assert sum(one.retries for one in told) >= KILLS
    assert lost == 0
    assert found == acknowledged == sum(one.accepted for one in told)
    assert stops == sum(one.stops for one in told)
    assert check(store) == []


def _rows(store: Store, query: str) -> int:
    with store.read() as tx:
        return int(tx.exec_driver_sql(query).scalar_one())


def _pairs(store: Store, machine: str) -> list[tuple[int, int]]:
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT at, count FROM count_readings WHERE machine_id ="
            " (SELECT id FROM machines WHERE machine = ?)",
            (machine,),
        )
        return [(row[0], row[1]) for row in rows]


def _us(at: str) -> int:
    return us_from_instant(parse_instant(at))
