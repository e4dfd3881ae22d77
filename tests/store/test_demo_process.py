"""The running demo ends when it is told to, whoever of its processes hears it first."""

import os
import signal
import socket
import time
import urllib.request
from datetime import timedelta

import pytest

from crib.clock import instant_from_us
from crib.demo.process import moving
from tests.demos import PRESENT


def last_fact_at(store):
    with store.read() as tx:
        return instant_from_us(tx.exec_driver_sql("SELECT max(at) FROM facts").scalar_one())


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


class Unreadable:
    """What a process cannot load."""

    def __reduce__(self):
        return int, ("no number",)


def test_no_clock_starts_where_the_process_that_moves_the_shop_is_not_ready(tmp_path):
    shop, url = Unreadable(), f"sqlite:///{tmp_path / 'crib.db'}"
    with (
        pytest.raises(RuntimeError, match="ended before it began"),
        moving(url, shop, PRESENT, 60.0),
    ):
        pytest.fail("the clock runs")


def test_the_shop_goes_on_by_the_clock_that_is_handed_out(demos, tmp_path):
    made = demos.copy(tmp_path)
    with moving(made.store.url, made.shop, PRESENT, 3600.0) as clock:
        assert clock.start == PRESENT
        until = time.monotonic() + 120
        while last_fact_at(made.store) <= PRESENT + timedelta(minutes=5):
            assert time.monotonic() < until
            time.sleep(0.1)
    made.store.close()


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
