"""The running demo ends when it is told to, whoever of its processes hears it first."""

import os
import signal
import socket
import time
import urllib.request

import pytest


def _free_port():
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


def _answers(address):
    try:
        with urllib.request.urlopen(address, timeout=60) as answer:  # noqa: S310 - our own
            return answer.status == 200
    except OSError:
        return False


@pytest.mark.parametrize("told", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_to_every_process_ends_the_demo_and_leaves_nothing(starter, tmp_path, told):
    port = _free_port()
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("CRIB_")
    } | {"TMPDIR": str(tmp_path)}
    words = ["demo", "--days", "2", "--workers", "2", "--port", str(port)]
    log = tmp_path / "log"
    demo = starter.start(words, environment, log)
    try:
        until = time.monotonic() + 300
        while not _answers(f"http://127.0.0.1:{port}/readyz"):
            assert demo.poll() is None, log.read_text()
            assert time.monotonic() < until
            time.sleep(0.2)

        os.killpg(demo.pid, told)

        assert demo.wait(timeout=300) == 0
        assert list(tmp_path.glob("crib-demo-*")) == []
    finally:
        demo.kill()
        demo.wait()
