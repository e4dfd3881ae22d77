"""The demonstration shop on a real server, for windows to look at and to work in."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from api.settings import CLOCK_VARIABLE
from crib.clock import FastClock
from tests.demos import PRESENT
from tests.servers import RealServer, serving
from tests.starter import Starter

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


@contextmanager
def serve_shop(
    database: Path, folder: Path, starter: Starter | None = None, **settings: str
) -> Iterator[DemoShop]:
    """Serve a copy of a database until the body ends.

    Args:
        database: Of a demonstration shop; it stays as it is.
        folder: Takes the copy and the log.
        starter: What starts it quickly; None for the command line itself.
        settings: ``CRIB_*`` variables.
    """
    own = folder / "crib.db"
    shutil.copy(database, own)
    url = f"sqlite:///{own}"
    clock = FastClock(PRESENT, speed=1.0, began=time.time())
    environment = {name: value for name, value in os.environ.items() if "CRIB" not in name}
    environment |= {
        "CRIB_DATABASE_URL": url,
        "CRIB_TIME_ZONE": ZONE,
        CLOCK_VARIABLE: clock.to_text(),
        **settings,
    }
    with serving(environment, 1, folder / "server.log", starter) as server:
        yield DemoShop(server.address, url, PRESENT)
