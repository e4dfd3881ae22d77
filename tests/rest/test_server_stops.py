"""A real server that is told to stop, or killed, leaves nothing behind."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.servers import was_killed


@pytest.fixture
def server(tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A server of two processes in a group of its own, all of them started."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = tmp_path / "log"
    code = "from api.cli import main; main()"
    words = ["serve", "--port", str(port), "--workers", "2", "--no-access-log"]
    environment = os.environ | {"CRIB_DATABASE_URL": f"sqlite:///{tmp_path}/crib.db"}
    with log.open("wb") as said:
        server = subprocess.Popen(
            [sys.executable, "-c", code, *words],
            env=environment,
            start_new_session=True,
            stdout=said,
            stderr=said,
        )
    try:
        until = time.monotonic() + 300
        while log.read_bytes().count(b"Started worker-") < 2:
            assert server.poll() is None
            assert time.monotonic() < until
            time.sleep(0.05)
        yield server
    finally:
        if _is_left(server):
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()


def _is_left(server: subprocess.Popen[bytes]) -> bool:
    server.poll()
    try:
        os.killpg(server.pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_to_every_process_stops_the_server_at_once(
    tmp_path: Path, server: subprocess.Popen[bytes], told: signal.Signals
) -> None:
    log = tmp_path / "log"
    began = time.monotonic()
    os.killpg(server.pid, told)

    assert server.wait(timeout=300) == 0
    # one that hung at the second signal would have been
    assert not was_killed(log.read_bytes(), time.monotonic() - began)
    assert b"Traceback" not in log.read_bytes()
    assert not _is_left(server)


def test_a_server_that_was_held_still_for_a_while_goes_on(
    tmp_path: Path, server: subprocess.Popen[bytes]
) -> None:
    """A debugger, a frozen container or a laptop's lid; no signal to stop is heard in it."""
    os.killpg(server.pid, signal.SIGSTOP)
    time.sleep(1.5)
    os.killpg(server.pid, signal.SIGCONT)
    time.sleep(1.5)

    said = (tmp_path / "log").read_text()
    address = re.search(r"Listening at: (http://\S+)", said)
    assert address is not None
    for _ in range(10):  # of both processes
        with urllib.request.urlopen(f"{address[1]}/healthz", timeout=300) as answer:  # noqa: S310
            assert answer.status == 200
    assert "Unexpected exit" not in said


def test_nothing_is_left_of_a_server_whose_first_process_was_killed(
    server: subprocess.Popen[bytes],
) -> None:
    server.kill()

    assert server.wait(timeout=300) == -signal.SIGKILL
    until = time.monotonic() + 300
    while _is_left(server):
        assert time.monotonic() < until, "the other processes hold the port"
        time.sleep(0.05)
