"""The service with a clock that the test sets, and a process that starts real ones quickly."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.durable.starter import Starter
from tests.rest.conftest import SetClock, bench, client, clock  # noqa: F401 - fixtures


@pytest.fixture(scope="session")
def starter() -> Iterator[Starter]:
    """Reads the code of the service once for all tests of a process."""
    with Starter() as running:
        yield running
