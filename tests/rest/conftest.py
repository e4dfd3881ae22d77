"""The service over the small shop, with a clock that the test sets."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace

import pytest
from flask.testing import FlaskClient

from crib.store.engine import Store
from tests.rest.one_row import busy, busy_template  # noqa: F401 - fixtures
from tests.rest.short_ways import SetClock, bench_of, client_of
from tests.servers import crib_command, start_server  # noqa: F401 - fixtures


@pytest.fixture
def clock(shop: SimpleNamespace) -> SetClock:
    """Two hours into the Monday on which the small shop begins."""
    return SetClock(shop.start + timedelta(hours=2))


@pytest.fixture
def client(store: Store, shop: SimpleNamespace, clock: SetClock) -> FlaskClient:
    """A client of the service over the small shop."""
    return client_of(store, clock)


@pytest.fixture
def rows(store: Store) -> Callable[[str], int]:
    """How many rows a table holds."""

    def count(table: str) -> int:
        with store.read() as tx:
            return int(tx.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())

    return count


@pytest.fixture
def bench(client: FlaskClient) -> SimpleNamespace:
    """Short ways to a checked gauge, a built and a measured tool."""
    return bench_of(client)
