"""A real server that is told to stop, all its processes at once, stops without being killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.servers import was_killed


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_to_every_process_stops_the_server_at_once(
    tmp_path: Path, told: signal.Signals
) -> None:
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

        began = time.monotonic()
        os.killpg(server.pid, told)

        assert server.wait(timeout=300) == 0
        # one that hung at the second signal would have been
        assert not was_killed(log.read_bytes(), time.monotonic() - began)
        assert b"Traceback" not in log.read_bytes()
        with pytest.raises(ProcessLookupError):
            os.killpg(server.pid, 0)
    finally:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()
