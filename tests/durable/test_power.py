"""What a power cut may leave: files as they are at any moment, and a torn end of the log."""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.settings import Settings
from crib.clock import parse_instant, print_instant, us_from_instant
from crib.store.checking import check
from crib.store.engine import Store, Tx
from tests.durable.clients import Client
from tests.durable.service import free_port, service, wait_until_it_answers
from tests.starter import Starter

#: Moments at which the service is stopped and its files are copied.
MOMENTS = 10


def test_every_connection_of_the_service_waits_for_the_disk(store: Store) -> None:
    """synchronous=FULL (2): a commit returns once the log is on the disk, not before.

    NORMAL (1) would return earlier, and a power cut would take acknowledged counts with it
    (SQLite's documentation of both pragmas).
    """
    app = create_app(Settings(store.url))
    opened: Store = app.extensions["crib"].store

    def pragmas(tx: Tx) -> list[object]:
        return [
            tx.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers")
        ]

    with ExitStack() as held:
        several = [held.enter_context(opened.read()) for _ in range(3)]
        several.append(held.enter_context(opened.write()))
        assert [pragmas(tx) for tx in several] == [["wal", 2, 1, 1]] * 4
    opened.close()


def _copy(database: Path, folder: Path) -> Store:
    """The files as they are, without the index in memory that no power cut leaves."""
    folder.mkdir()
    for name in (database.name, f"{database.name}-wal"):
        shutil.copyfile(database.with_name(name), folder / name)
    return Store(f"sqlite:///{folder / database.name}")


def _found(store: Store) -> dict[tuple[str, int], int]:
    """Count by machine and instant [µs]."""
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT m.machine, r.at, r.count FROM count_readings r"
            " JOIN machines m ON m.id = r.machine_id"
        )
        return {(row[0], row[1]): row[2] for row in rows}


def _stop(group: int) -> None:
    """Stop every thread of a process group, and wait until they stand still."""
    os.killpg(group, signal.SIGSTOP)
    until = time.monotonic() + 120
    while set(_states(group)) != {"T"}:
        assert time.monotonic() < until, _states(group)
        time.sleep(0.001)


def _states(group: int) -> list[str]:
    found = []
    for stat in Path("/proc").glob("[0-9]*/task/[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it ended meanwhile
        if int(fields[2]) == group and fields[0] != "Z":
            found.append(fields[0])
    return found


def test_the_files_hold_what_was_acknowledged_at_any_moment(
    store: Store, shop: SimpleNamespace, starter: Starter, tmp_path: Path
) -> None:
    chance = random.Random(1)  # noqa: S311 - when to stop
    port, log = free_port(), tmp_path / "log"
    clients = [
        Client(lambda: ("127.0.0.1", port), machine, shop.start) for machine in ("M1", "M2")
    ]
    assert store.path is not None
    grown = []
    with service(store.url, port, log, starter) as group:
        wait_until_it_answers(group, port, log)
        for client in clients:
            client.start()
        for moment in range(MOMENTS):
            time.sleep(chance.uniform(0.01, 0.06))
            _stop(group)
            time.sleep(0.005)  # answers that were sent before are heard
            told = {
                (client.machine, us_from_instant(parse_instant(when))): count
                for client in clients
                for when, count in list(client.told.counts.items())
            }
            copy = _copy(store.path, tmp_path / f"moment-{moment}")
            os.killpg(group, signal.SIGCONT)
            found = _found(copy)
            assert told.items() <= found.items()
            assert check(copy) == []
            grown.append(len(found))
            copy.close()
        for client in clients:
            client.ended.set()
        for client in clients:
            client.join(timeout=300)
            assert not client.is_alive()

    assert [line for client in clients for line in client.told.refused] == []
    assert grown == sorted(grown)
    assert grown[-1] > grown[0]


@pytest.mark.parametrize("torn", ["cut off", "zeros", "noise"])
def test_a_torn_end_of_the_log_takes_the_last_act_whole_or_not_at_all(
    store: Store, shop: SimpleNamespace, client: FlaskClient, tmp_path: Path, torn: str
) -> None:
    """Blocks of the log that were under way may be missing, empty or anything."""
    assert store.path is not None
    wal = store.path.with_name(f"{store.path.name}-wal")
    chance = random.Random(2)  # noqa: S311 - where it tears

    def post(first: int) -> None:
        readings = [
            {"at": print_instant(shop.start + timedelta(seconds=first + n)), "count": first + n}
            for n in range(60)
        ]
        body = {"machine": "M2", "readings": readings}
        answer = client.post("/v1/counts", json=body, headers={"Idempotency-Key": f"{first}"})
        assert answer.get_json()["accepted"] == 60

    post(0)
    kept = wal.stat().st_size
    post(60)
    whole = wal.stat().st_size
    assert whole > kept

    # SQLite's file format: a log of 32 bytes, then frames of 24 bytes and a page each
    last = len(wal.read_bytes().rstrip(b"\0")) - 1  # zeros in the place of zeros tear nothing
    ends = [kept, kept + 24, last, *(chance.randrange(kept, last) for _ in range(5))]
    for number, end in enumerate(ends):
        copy = _copy(store.path, tmp_path / f"{torn}-{number}")
        assert copy.path is not None
        with copy.path.with_name(wal.name).open("r+b") as log:
            log.truncate(end)
            log.seek(end)
            if torn != "cut off":
                fill = bytes if torn == "zeros" else chance.randbytes
                log.write(fill(whole - end))
        assert len(_found(copy)) == 60
        assert check(copy) == []
        with copy.read() as tx:
            keys = tx.exec_driver_sql("SELECT count(*) FROM idempotency_keys").scalar_one()
        assert keys == 1  # so that the act that was lost is done anew when it comes again
        copy.close()
    uncut = _copy(store.path, tmp_path / f"{torn}-uncut")
    assert len(_found(uncut)) == 120
    uncut.close()
