"""A disk that is really full: a clear no, reading goes on, and it heals when there is room."""

from __future__ import annotations

import http.client
import json
import shutil
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from crib.store.engine import Store
from tests.disks import command_on_a_small_disk
from tests.durable.service import free_port


@pytest.fixture
def small_disk(store: Store, shop: SimpleNamespace, tmp_path: Path) -> Iterator[Any]:
    """The service on a disk of three megabytes: (port, folder of the disk)."""
    port = free_port()
    words = f"serve --port {port} --workers 1 --no-access-log"
    with command_on_a_small_disk(store, tmp_path, words, megabytes=3, ballast=400_000) as (
        process,
        disk,
    ):
        until = time.monotonic() + 300
        while _ask(port, "GET", "/healthz")[0] != 200:
            assert process.poll() is None, (tmp_path / "log").read_text()
            assert time.monotonic() < until, (tmp_path / "log").read_text()
            time.sleep(0.05)
        yield port, disk


def _ask(port: int, method: str, path: str, body: object = None) -> tuple[int, Any]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    try:
        sent = None if body is None else json.dumps(body)
        connection.request(method, path, sent, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        raw = answer.read()
        return answer.status, json.loads(raw) if raw[:1] in (b"{", b"[") else raw
    except OSError:
        return 0, None
    finally:
        connection.close()


def test_a_full_disk_refuses_counts_goes_on_reading_and_heals(
    small_disk: tuple[int, Path], shop: SimpleNamespace, tmp_path: Path
) -> None:
    port, disk = small_disk
    accepted = 0
    for batch in range(200):
        readings = [
            {
                "at": (shop.start + timedelta(minutes=batch * 500 + k)).isoformat(),
                "count": batch * 500 + k,
            }
            for k in range(500)
        ]
        body = {"machine": "M1", "readings": readings}
        status, answer = _ask(port, "POST", "/v1/counts", body)
        if status != 202:
            break
        accepted += answer["accepted"]

    assert (status, answer["type"]) == (507, "/problems/store-full")
    assert "Nothing was recorded" in answer["detail"] or "nothing was" in answer["detail"]
    assert _ask(port, "GET", "/healthz")[0] == 200
    status, machine = _ask(port, "GET", "/v1/machines/M1")
    assert (status, machine["machine"]) == (200, "M1")
    (disk / "ballast").unlink()
    status, answer = _ask(port, "POST", "/v1/counts", body)
    assert status == 202, answer
    accepted += answer["accepted"]
    for name in ("crib.db", "crib.db-wal"):
        shutil.copy(disk / name, tmp_path / f"copy-{name}")
    copy = Store(f"sqlite:///{tmp_path}/copy-crib.db")
    with copy.read() as tx:
        found = tx.exec_driver_sql("SELECT count(*) FROM count_readings").scalar_one()
    copy.close()
    assert found == accepted
