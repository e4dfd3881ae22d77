"""The demonstration shop on a real server, for windows to look at and to work in."""

from __future__ import annotations

import fcntl
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from api.demo import CLOCK_VARIABLE
from crib.demo.clock import DemoClock
from crib.demo.history import build
from crib.store.migrate import open_store
from tests.servers import RealServer, serving

#: A Wednesday in the middle of a shift, when the history ends and the tests begin.
PRESENT = datetime(2026, 3, 11, 9, 20, tzinfo=UTC)
ZONE = "Europe/Berlin"


@dataclass(frozen=True, slots=True)
class DemoShop(RealServer):
    """The demonstration shop, served.

    Attributes:
        database_url: Its database.
        began: Simulated instant at which the server started; from there it goes as fast as
            the world's clock.
    """

    database_url: str
    began: datetime


def build_once(folder: Path, days: int) -> Path:
    """A database with the demonstration shop, built by whoever comes first.

    Args:
        folder: Shared by all processes that test.
        days: Length of the history [d].
    """
    path = folder / f"demo-{days}.db"
    with (folder / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            making = path.with_suffix(".making")
            store = open_store(f"sqlite:///{making}")
            build(store, present=PRESENT, days=days)
            with store.engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            store.close()
            making.rename(path)
    return path


@contextmanager
def serve_shop(database: Path, folder: Path, **settings: str) -> Iterator[DemoShop]:
    """Serve a copy of a database until the body ends.

    Args:
        database: What ``build_once`` made; it stays as it is.
        folder: Takes the copy and the log.
        settings: ``CRIB_*`` variables.
    """
    own = folder / "crib.db"
    shutil.copy(database, own)
    url = f"sqlite:///{own}"
    clock = DemoClock(PRESENT, speed=1.0, began=time.time())
    environment = {name: value for name, value in os.environ.items() if "CRIB" not in name}
    environment |= {
        "CRIB_DATABASE_URL": url,
        "CRIB_TIME_ZONE": ZONE,
        CLOCK_VARIABLE: clock.to_text(),
        **settings,
    }
    with serving(environment, 1, folder / "server.log") as server:
        yield DemoShop(server.address, url, PRESENT)
