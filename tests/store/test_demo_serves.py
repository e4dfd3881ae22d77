"""The demo's command: one line, a served shop that goes on, and an end that leaves nothing."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from urllib.request import urlopen

import pytest


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def get(address: str):
    with urlopen(address, timeout=60) as answer:  # noqa: S310 - our own address
        return json.load(answer)


@pytest.fixture
def served(tmp_path):
    """A small demo that runs sixty times as fast as usual, and its port."""
    port = free_port()
    environment = {name: value for name, value in os.environ.items() if "CRIB" not in name}
    process = subprocess.Popen(
        [
            sys.executable, "-c", "from api.cli import main; main()", "demo", "--port",
            str(port), "--days", "2", "--speed", "3600", "--workers", "1",
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**environment, "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    yield process, port, tmp_path
    if process.poll() is None:
        process.kill()
    process.communicate()


def wait_for(condition, seconds=300.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            found = condition()
        except OSError:
            found = None
        if found:
            return found
        time.sleep(0.1)
    pytest.fail("it never happened")


def with_sisters(address, states):
    """The swap list once it has sisters in these states: the shop moves fast."""
    swaps = get(f"{address}v1/swap-list")
    return swaps if {row["sister"]["state"] for row in swaps["items"]} >= states else None


def test_the_demo_prints_its_address_moves_and_goes_without_a_trace(served):
    process, port, folder = served
    address = process.stdout.readline().strip()
    assert address == f"http://127.0.0.1:{port}/"
    swaps = wait_for(lambda: with_sisters(address, {"ready", "build"}))
    first = get(f"{address}v1/audit?limit=1")["items"][0]["fact"]
    wait_for(lambda: get(f"{address}v1/audit?limit=1")["items"][0]["fact"] > first + 5)
    assert get(f"{address}v1/swap-list")["as_of"] > swaps["as_of"]

    process.send_signal(signal.SIGTERM)
    _, told = process.communicate(timeout=300)
    assert process.returncode == 0, told
    assert "Traceback" not in told
    assert not list(folder.glob("crib-demo-*"))


def test_a_demo_never_mixes_with_a_database_in_use(store, shop, tmp_path):
    result = subprocess.run(
        [sys.executable, "-c", "from api.cli import main; main()", "demo"],
        env={**os.environ, "CRIB_DATABASE_URL": store.url},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert result.returncode == 1
    assert "empty one of its own" in result.stderr
    assert "Traceback" not in result.stderr
