"""A database that somebody else holds: a clear no in time, reading goes on, and it heals."""

from __future__ import annotations

import fcntl
import os
import queue
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from api import create_app
from api.settings import Settings
from crib.errors import StoreBusy
from crib.store.checking import check
from crib.store.engine import Store
from tests.durable.service import free_port, service, wait_until_it_answers
from tests.servers import RealServer
from tests.starter import Starter

WAIT_S, BEHIND_S = 0.4, 0.15
#: What never comes is waited for no longer [s]; nothing is right or wrong by it.
LONG_S = 300.0


@contextmanager
def held_by_a_stranger(path: Path) -> Iterator[None]:
    """Another program writes and knows nothing of the queue."""
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")


@contextmanager
def held_by_a_process_that_was_stopped(path: Path) -> Iterator[None]:
    """A process of ours was stopped (ctrl-Z) in the middle of a write."""
    code = (
        "import sys; from crib.store.engine import Store\n"
        "with Store(sys.argv[1]).write():\n"
        "    print('writes', flush=True); sys.stdin.read()"
    )
    words = [sys.executable, "-c", code, f"sqlite:///{path}"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        try:
            assert other.stdout is not None
            assert other.stdout.readline() == b"writes\n"
            os.kill(other.pid, signal.SIGSTOP)
            yield
        finally:
            other.kill()


HOLDERS = pytest.mark.parametrize(
    "held", [held_by_a_stranger, held_by_a_process_that_was_stopped]
)


@pytest.fixture
def patient(store: Store, shop: SimpleNamespace) -> Iterator[Store]:
    """The shop's database, by one of which the first waits for hours and no other for long."""
    opened = Store(store.url, wait_s=3_600.0, behind_s=BEHIND_S)
    yield opened
    opened.close()


@pytest.fixture
def impatient(store: Store, shop: SimpleNamespace) -> Iterator[Store]:
    """The shop's database, by one that does not wait for long."""
    opened = Store(store.url, wait_s=WAIT_S, behind_s=BEHIND_S)
    yield opened
    opened.close()


def counts(shop: SimpleNamespace, *values: int) -> dict[str, Any]:
    """A body of counts of M1, one a minute."""
    readings = [
        {"at": (shop.start + timedelta(minutes=value)).isoformat(), "count": value}
        for value in values
    ]
    return {"machine": "M1", "readings": readings}


def found(store: Store) -> list[int]:
    with store.read() as tx:
        rows = tx.exec_driver_sql("SELECT count FROM count_readings ORDER BY count")
        return [row[0] for row in rows]


@HOLDERS
def test_counts_are_refused_in_time_and_taken_once_it_is_free(
    impatient: Store, shop: SimpleNamespace, held: Callable[[Path], Any]
) -> None:
    client = create_app(Settings(impatient.url), impatient).test_client()
    body, key = counts(shop, 1, 2, 3), {"Idempotency-Key": "one-act"}
    assert impatient.path is not None
    with held(impatient.path):
        refused = client.post("/v1/counts", json=body, headers=key)

        assert (refused.status_code, refused.get_json()["type"]) == (503, "/problems/busy")
        assert refused.content_type == "application/problem+json"
        assert refused.headers["Retry-After"] == "1"
        assert "Nothing was recorded. Send it again." in refused.get_json()["detail"]
        assert client.get("/v1/machines/M1").status_code == 200
        assert found(impatient) == []

    taken = client.post("/v1/counts", json=body, headers=key)

    assert (taken.status_code, taken.get_json()["accepted"]) == (202, 3)
    assert found(impatient) == [1, 2, 3]
    assert check(impatient) == []


def test_a_page_says_that_nothing_was_recorded(impatient: Store, shop: SimpleNamespace) -> None:
    client = create_app(Settings(impatient.url), impatient).test_client()
    assert impatient.path is not None
    form = {"station": "M1/T01", "reason": "chipped", "by": "B2"}
    with held_by_a_stranger(impatient.path):
        refused = client.post("/machines/M1/remove", data=form)

    assert refused.status_code == 503
    assert "Nothing was recorded" in refused.get_data(as_text=True)


def test_all_that_wait_behind_one_are_told_while_it_still_waits(patient: Store) -> None:
    """One waits for all; one after the other they would wait for hours."""
    outcomes: queue.SimpleQueue[str] = queue.SimpleQueue()

    def write() -> None:
        try:
            with patient.write():
                outcomes.put("wrote")
        except StoreBusy:
            outcomes.put("busy")

    assert patient.path is not None
    with ThreadPoolExecutor(6) as threads:
        with held_by_a_stranger(patient.path):
            for _ in range(6):
                threads.submit(write)
            assert [outcomes.get(timeout=LONG_S) for _ in range(5)] == ["busy"] * 5
            assert outcomes.empty()
        assert outcomes.get(timeout=LONG_S) == "wrote"


def test_a_lock_that_comes_too_late_is_let_go_again(impatient: Store) -> None:
    assert impatient.path is not None
    name = f"{impatient.path}-lock"
    with open(name, "a") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        for _ in range(3):
            with pytest.raises(StoreBusy), impatient.write():
                pass
        waiting = [one for one in threading.enumerate() if one.name == "writer-queue"]
        assert len(waiting) == 1
    waiting[0].join(LONG_S)
    assert not waiting[0].is_alive()

    with open(name, "a") as other:  # nobody here keeps it although nobody here writes
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    with impatient.write():
        pass


def test_who_still_waits_when_it_is_free_writes(patient: Store) -> None:
    wrote = threading.Event()

    def write() -> None:
        with patient.write():
            wrote.set()

    writer = threading.Thread(target=write)
    with open(f"{patient.path}-lock", "a") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        writer.start()
        assert not wrote.wait(0.1)
    writer.join(LONG_S)

    assert wrote.is_set()


def test_many_posts_into_a_locked_database_leave_room_for_readers(
    store: Store, shop: SimpleNamespace, starter: Starter, tmp_path: Path
) -> None:
    """More posts than the server has threads, and each of them comes again at once."""
    port, log = free_port(), tmp_path / "log"
    server = RealServer(f"http://127.0.0.1:{port}")
    assert store.path is not None
    ended, answers = threading.Event(), []

    def insist(number: int) -> None:
        while not ended.is_set():
            answers.append(server.ask("POST", "/v1/counts", counts(shop, number)).status)

    def read() -> float:
        begun = time.monotonic()
        for _ in range(3):
            assert server.get("/v1/machines/M1")["machine"] == "M1"
        return time.monotonic() - begun

    with service(store.url, port, log, starter) as group:
        wait_until_it_answers(group, port, log)
        alone_s = max(read() for _ in range(5))
        with ThreadPoolExecutor(8) as threads:
            with held_by_a_stranger(store.path):
                for number in range(8):
                    threads.submit(insist, number)
                while 503 not in answers:
                    time.sleep(0.01)
                took_s = read()
            while 202 not in answers:
                time.sleep(0.01)
            ended.set()

    assert set(answers) == {202, 503}
    # a read behind posts that wait would take as long as they do, five seconds and more each
    assert took_s < 3.0 + 50 * alone_s
    assert set(found(store)) <= set(range(8))
