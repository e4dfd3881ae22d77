"""The demonstration shop, made once for all tests of a run that want the same history of it."""

from __future__ import annotations

import fcntl
import os
import pickle
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from crib.demo.history import build
from crib.demo.state import Shop
from crib.store.engine import Store
from crib.store.migrate import open_store

#: A Wednesday in the middle of a shift, when the history ends and the tests begin.
PRESENT = datetime(2026, 3, 11, 9, 20, tzinfo=UTC)
#: Length of the history that most tests share [d].
DAYS = 8


@dataclass(frozen=True, slots=True)
class Demo:
    """A demonstration shop that was made.

    Attributes:
        store: Its database.
        shop: The shop as it is at the end of the history.
        present: That end.
        progress: What was told while it was made.
    """

    store: Store
    shop: Shop
    present: datetime
    progress: list[tuple[int, int]]


def make_demo(path: Path, *, days: int, seed: int = 1, present: datetime = PRESENT) -> Demo:
    """Make the demonstration shop in a new database.

    Args:
        path: The database.
        days: Length of the history [d].
        seed: Same seed and present, same history.
        present: End of the history.
    """
    store = open_store(f"sqlite:///{path}")
    seen: list[tuple[int, int]] = []
    shop = build(
        store,
        present=present,
        seed=seed,
        days=days,
        progress=lambda done, total: seen.append((done, total)),
    )
    return Demo(store, shop, present, seen)


@dataclass(frozen=True, slots=True)
class Demos:
    """Demonstration shops, each made by whoever of a run's processes wants it first.

    Attributes:
        folder: Shared by all processes of the run.
    """

    folder: Path

    def database(self, *, days: int = DAYS, seed: int = 1) -> Path:
        """A database that stays as it is: copy it."""
        path = self.folder / f"demo-{days}-{seed}.db"
        with (self.folder / f"{path.name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not path.exists():
                making = path.with_suffix(".making")
                made = make_demo(making, days=days, seed=seed)
                with made.store.engine.connect() as connection:
                    connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
                made.store.close()
                path.with_suffix(".shop").write_bytes(pickle.dumps((made.shop, made.progress)))
                making.rename(path)
        return path

    def copy(self, folder: Path, *, days: int = DAYS, seed: int = 1) -> Demo:
        """A copy in a folder, for a test to do with as it likes."""
        path = self.database(days=days, seed=seed)
        own = folder / path.name
        shutil.copy(path, own)
        shop, progress = pickle.loads(path.with_suffix(".shop").read_bytes())  # noqa: S301 - ours
        return Demo(Store(f"sqlite:///{own}"), shop, PRESENT, progress)


@pytest.fixture(scope="session")
def demos(tmp_path_factory: pytest.TempPathFactory) -> Demos:
    """Demonstration shops, made once for all processes of a run."""
    base = tmp_path_factory.getbasetemp()
    # each process of pytest-xdist has a folder of its own inside the run's
    return Demos(base.parent if "PYTEST_XDIST_WORKER" in os.environ else base)
