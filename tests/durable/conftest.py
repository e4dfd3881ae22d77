"""The service with a clock that the test sets, as the tests of its HTTP side have it."""

from __future__ import annotations

from tests.rest.conftest import SetClock, bench, client, clock  # noqa: F401 - fixtures
