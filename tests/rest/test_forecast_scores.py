"""Kept forecasts and their scores over HTTP."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.rest.one_row import Made, make_shop
from tests.rest.short_ways import bench_of


def look(client: FlaskClient, path: str = "/v1/forecasts") -> Any:
    """Ask and read to the end, as a real client does; what was shown is then kept."""
    answer = client.get(path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    body = answer.get_json()
    answer.close()
    return body


@pytest.fixture(scope="session")
def lived_template(
    _shop_template: tuple[Path, SimpleNamespace], tmp_path_factory: pytest.TempPathFactory
) -> Made:
    """The database of ``lived``, made once; ``store`` copies it."""
    return make_shop(_shop_template, tmp_path_factory.mktemp("lived-template"), _two_edges)


@pytest.fixture
def lived(lived_template: Made, client: FlaskClient, clock: Any) -> FlaskClient:
    """Two edges, each looked at in its first minutes; the second is in the machine still."""
    clock.at = lived_template.at
    return client


def _two_edges(client: FlaskClient, clock: Any) -> None:
    bench, count = bench_of(client), 0

    def tell(parts: int) -> None:
        nonlocal count
        readings = []
        for _ in range(0, parts, 10):
            count += 10
            readings.append({"at": clock.go_on(seconds=450).isoformat(), "count": count})
        bench.post("/v1/counts", 202, machine="M1", readings=readings)

    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready(), part_count=0)
    tell(20)
    look(client)
    tell(60)
    bench.post("/v1/removals", station="M1/T01", reason="worn_early")
    second = bench.measure(bench.build()["code"])["assembly"]
    bench.post("/v1/mounts", station="M1/T01", assembly=second)
    tell(20)
    look(client, "/v1/swap-list")


def test_looking_keeps_what_was_shown(lived: FlaskClient, rows: Callable[[str], int]) -> None:
    assert rows("kept_forecasts") == 2

    items = look(lived, "/v1/forecasts-kept")["items"]

    assert [row["outcome"] for row in items] == ["worn", "going_on"]
    assert [row["lasted_shift"] for row in items] == [False, None]
    assert items[0]["station"] == "M1/T01"
    left = list(items[0]["parts_left"].values())
    assert list(items[0]["parts_left"]) == ["p05", "p10", "p25", "p50", "p75", "p90", "p95"]
    assert left == sorted(left)
    assert items[0]["place_low"] == items[0]["place_high"]
    assert (items[1]["place_high"], items[1]["failed_at"]) == (1.0, None)


def test_reading_twice_answers_the_same(lived: FlaskClient) -> None:
    first = lived.get("/v1/forecasts-kept")
    again = lived.get("/v1/forecasts-kept", headers={"If-None-Match": first.headers["ETag"]})

    assert again.status_code == 304


def test_the_past_is_looked_at_without_keeping(
    client: FlaskClient, bench: SimpleNamespace, clock: Any, rows: Callable[[str], int]
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready(), part_count=0)
    at = clock.go_on(minutes=5).isoformat().replace("+00:00", "Z")

    look(client, f"/v1/forecasts?as_of={at}")

    assert rows("kept_forecasts") == 0


def test_kept_forecasts_come_in_pages(lived: FlaskClient) -> None:
    page = lived.get("/v1/forecasts-kept?limit=1")
    first = page.get_json()

    rest = look(lived, f"/v1/forecasts-kept?limit=1&after={first['next']}")

    assert 'rel="next"' in page.headers["Link"]
    assert [first["items"][0]["outcome"], rest["items"][0]["outcome"]] == ["worn", "going_on"]
    assert rest["next"] is None


def test_kept_forecasts_of_one_machine_or_assembly(lived: FlaskClient) -> None:
    code = look(lived, "/v1/forecasts-kept")["items"][1]["assembly"]

    assert len(look(lived, "/v1/forecasts-kept?machine=m1")["items"]) == 2
    assert look(lived, "/v1/forecasts-kept?machine=M2")["items"] == []
    (row,) = look(lived, f"/v1/forecasts-kept?assembly={code}")["items"]
    assert row["assembly"] == code
    assert lived.get("/v1/forecasts-kept?machine=M9").status_code == 404


@pytest.mark.parametrize(
    ("by", "name"),
    [("key", "CNMG-408~M~turn"), ("machine", "M1"), ("month", "2026-01"), ("shop", "shop")],
)
def test_scores_are_told_by_group(lived: FlaskClient, by: str, name: str) -> None:
    found = look(lived, f"/v1/forecast-scores?by={by}")

    (score,) = found["items"]
    assert (found["by"], score["name"], score["edges"], score["ended"]) == (by, name, 2, 1)
    assert score["shift"]["known_failed"] == 1
    assert score["life_80"]["claimed"] == 0.8
    assert score["verdict"] == "too_few"
    assert (score["widening"] is None) == (by != "key")
    assert (found["not_kept"], found["not_kept_why"]) == (0, None)


def test_scores_of_another_time_are_empty(lived: FlaskClient) -> None:
    found = look(lived, "/v1/forecast-scores?until=2026-01-01T00:00:00Z")

    assert found["items"] == []


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("by=colour", 422),
        ("since=yesterday", 422),
        ("since=2026-01-06T00:00:00Z&until=2026-01-05T00:00:00Z", 409),
        ("as_of=2036-01-05T00:00:00Z", 409),
        ("whatever=1", 422),
    ],
)
def test_questions_that_cannot_be_meant_are_refused(
    lived: FlaskClient, query: str, status: int
) -> None:
    answer = lived.get(f"/v1/forecast-scores?{query}")

    assert answer.status_code == status
    assert answer.get_json()["errors"]
