"""How long 20 operators who scan in pages wait, over a static file of the same server."""

from __future__ import annotations

import http.client
import os
import threading
import time
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest

from tests.browser.shop import serve_shop
from tests.demos import Demos

OPERATORS = 20
ROUNDS = 8

#: Between two scans of one operator [s]; quicker than hands are.
PAUSE_S = 0.5


def _wait_times(address: str, paths: list[str]) -> list[float]:
    """Every operator asks for the paths in turn over one kept connection [ms]."""
    host = urlsplit(address).netloc
    found: list[float] = []
    faults: list[str] = []
    begin = threading.Barrier(OPERATORS)

    def scan(number: int) -> None:
        connection = http.client.HTTPConnection(host, timeout=60)
        try:
            begin.wait()
            time.sleep(PAUSE_S * number / OPERATORS)
            for turn in range(ROUNDS):
                path = paths[(number + turn) % len(paths)]
                at = time.perf_counter()
                connection.request("GET", path)
                answer = connection.getresponse()
                answer.read()
                found.append((time.perf_counter() - at) * 1e3)
                if answer.status != 200:
                    faults.append(f"{path}: {answer.status}")
                time.sleep(PAUSE_S)
        finally:
            connection.close()

    operators = [threading.Thread(target=scan, args=(n,)) for n in range(OPERATORS)]
    for one in operators:
        one.start()
    for one in operators:
        one.join()
    assert not faults, faults[:3]
    assert len(found) == OPERATORS * ROUNDS
    return sorted(found)


def _at(times: list[float], share: float) -> float:
    return times[min(int(share * len(times)), len(times) - 1)]


@pytest.mark.bench
def test_operators_who_scan_at_once_in_pages(
    demos: Demos, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with serve_shop(demos.database(days=3), tmp_path) as shop:
        mounted = shop.get("/v1/swap-list?hours=240&limit=40")["items"]
        codes, checks = [], []
        for row in (row for row in mounted if row["assembly"]):
            asked = urlencode({"station": row["station_code"], "tool": row["assembly"]})
            codes.append(f"/C/{row['assembly']}")
            checks.append(f"/machines/{row['machine']}/mount?{asked}")
        assert codes
        kinds = {
            "static file": ["/static/crib.css"],
            "scan of a code": codes,
            "check of a mount": checks,
        }
        times = {}
        for kind, paths in kinds.items():
            _wait_times(shop.address, paths)  # warm
            times[kind] = _wait_times(shop.address, paths)
    least = times["static file"]
    with capsys.disabled():
        print(f"\n{OPERATORS} operators; load of this machine {os.getloadavg()[0]:.1f}", end="")
        for kind, found in times.items():
            p50, p99 = _at(found, 0.5), _at(found, 0.99)
            print(
                f"\n{kind}: p50 {p50:.1f} ms, p99 {p99:.1f} ms; over the static file"
                f" {p50 / _at(least, 0.5):.1f}, {p99 / _at(least, 0.99):.1f}",
                end="",
            )
