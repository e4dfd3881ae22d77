"""The real service in a process group of its own, to be killed without a word."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.starter import Starter


def free_port() -> int:
    """A port of loopback that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@contextmanager
def service(
    url: str, port: int, log: Path, starter: Starter | None = None, **settings: str
) -> Iterator[int]:
    """The service with one server process; killed at the end, all its processes at once.

    Args:
        url: Its database.
        port: Where it listens; free by the time that this ends.
        log: Where it says what happens.
        starter: What starts it; None for the command line itself.
        settings: More of its environment.

    Yields:
        The number of its process group. It may not listen yet.
    """
    words = ["serve", "--port", str(port), "--workers", "1", "--no-access-log"]
    environment = os.environ | {"CRIB_DATABASE_URL": url} | settings
    if starter is not None:
        started = starter.start(words, environment, log)
        try:
            yield started.pid
        finally:
            os.killpg(started.pid, signal.SIGKILL)
            started.wait()
            _wait_until_free(port)
        return
    with log.open("ab") as said:
        process = subprocess.Popen(
            [sys.executable, "-c", "from api.cli import main; main()", *words],
            env=environment,
            start_new_session=True,
            stdout=said,
            stderr=said,
        )
    try:
        yield process.pid
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        _wait_until_free(port)


def wait_until_it_answers(group: int, port: int, log: Path) -> None:
    """Wait until the service on a port answers; fails with what it said where it does not."""
    until = time.monotonic() + 300
    while not _answers(port):
        assert not _has_ended(group), log.read_text()[-2000:]
        assert time.monotonic() < until, log.read_text()[-2000:]
        time.sleep(0.005)


def _has_ended(pid: int) -> bool:
    """Whether a process is gone, or waits for nothing but its parent to look."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except FileNotFoundError:
        return True


def _answers(port: int) -> bool:
    probe = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        probe.request("GET", "/healthz")
        return probe.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        probe.close()


def _wait_until_free(port: int) -> None:
    """Wait until the last killed process has let go of the port: the next start takes it."""
    until = time.monotonic() + 120
    while True:
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                assert time.monotonic() < until, f"port {port} is still taken"
            else:
                return
        time.sleep(0.002)
