"""Pages over the small shop, as a browser gets them."""

from __future__ import annotations

import pytest

from tests.rest.conftest import bench, client, clock, rows  # noqa: F401 - fixtures

#: What browsers send for a page (MDN, "List of default Accept values").
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


@pytest.fixture(autouse=True)
def browser(client):  # noqa: F811
    """Ask for pages, as browsers do."""
    client.environ_base["HTTP_ACCEPT"] = BROWSER


@pytest.fixture
def behind(client, bench, clock):  # noqa: F811
    """T01 with an edge past its point, T11 empty under the running job; counts told."""
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    bench.post(
        "/v1/counts", 202, machine="M1", readings=[{"at": clock().isoformat(), "count": 0}]
    )
    at = clock.go_on(hours=4)
    bench.post("/v1/counts", 202, machine="M1", readings=[{"at": at.isoformat(), "count": 300}])
    clock.go_on(minutes=5)
    return code
