"""Real servers for the benchmarks over HTTP."""

from __future__ import annotations

from tests.servers import start_server  # noqa: F401 - a fixture
