"""A disk that is really full against the runner: nothing is lost, and it goes on by itself."""

from __future__ import annotations

import shutil
import signal
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from crib.store.engine import Store
from tests.agents import ScriptedAgent
from tests.disks import command_on_a_small_disk
from tests.feed.conftest import wait_until


@pytest.fixture
def small_disk(
    store: Store, agent: ScriptedAgent, tmp_path: Path
) -> Iterator[tuple[subprocess.Popen[bytes], Path]]:
    """The command on a disk of four megabytes: its process, the folder of the disk."""
    with command_on_a_small_disk(store, tmp_path, "feed --poll 0.05", megabytes=4) as running:
        yield running


def _counts(disk: Path, tmp_path: Path) -> list[int]:
    """What is booked; nothing while it cannot be read (a copy from between two writes)."""
    try:
        for name in ("crib.db", "crib.db-wal"):
            shutil.copy(disk / name, tmp_path / f"copy-{name}")
        with closing(sqlite3.connect(tmp_path / "copy-crib.db")) as copy:
            return [row[0] for row in copy.execute("SELECT count FROM count_readings")]
    except (OSError, sqlite3.DatabaseError):
        return []


def _fill(disk: Path) -> None:
    for size in (65_536, 4096, 1):
        with pytest.raises(OSError, match="No space left"):
            _write_on(disk / "ballast", size)


def _write_on(path: Path, size: int) -> None:
    with path.open("ab", buffering=0) as ballast:
        while True:
            ballast.write(b"\0" * size)


def test_what_came_while_the_disk_was_full_is_booked_when_there_is_room(
    small_disk: tuple[subprocess.Popen[bytes], Path],
    agent: ScriptedAgent,
    shop: SimpleNamespace,
    tmp_path: Path,
) -> None:
    process, disk = small_disk
    agent.buffer_size = 100_000
    agent.make([0])
    wait_until(lambda: _counts(disk, tmp_path) == [0])
    _fill(disk)
    for begin in range(1, 2001, 200):
        agent.make(range(begin, begin + 200))
    wait_until(lambda: b"nothing can be written" in (tmp_path / "log").read_bytes())
    assert len(_counts(disk, tmp_path)) < 2001
    assert process.poll() is None

    (disk / "ballast").unlink()

    wait_until(lambda: sorted(_counts(disk, tmp_path)) == list(range(2001)))
    assert b"takes news again" in (tmp_path / "log").read_bytes()
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0
