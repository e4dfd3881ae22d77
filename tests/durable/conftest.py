"""The service with a clock that the test sets."""

from __future__ import annotations

from tests.rest.conftest import SetClock, bench, client, clock  # noqa: F401 - fixtures
