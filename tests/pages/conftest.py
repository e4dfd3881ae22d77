"""Pages over the small shop, as a browser gets them."""

from __future__ import annotations

from tests.rest.conftest import bench, client, clock, rows  # noqa: F401 - fixtures
