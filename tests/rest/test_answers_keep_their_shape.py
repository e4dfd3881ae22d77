"""Every answer is of the shape that the documentation promises."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient
from openapi_schema_validator import OAS31Validator

_RECORDS = (
    "machines", "stations", "cutting-items", "lots", "holder-types", "holders", "tool-specs",
    "parts", "tool-life", "runs", "calendars", "closures", "gauges", "people",
)  # fmt: skip
_FACTS = (
    "assemblies", "presets", "mounts", "removals", "corrections", "stock-moves",
    "gauge-checks", "counts", "refused-counts", "count-verdicts", "breakages",
    "question-dismissals", "life-confirmations", "audit",
)  # fmt: skip
_VIEWS = (
    "forecasts", "swap-list?hours=72", "bench-queue?hours=72",
    "holder-needs?hours=72", "planned-stops?hours=24",
    "reorder-list", "life", "costs",
    "kits/1", "scan/M1/T01", "scan/TH-1", "scan/LOT-I1", "scan/PG-1", "scan/B1",
    "assemblies/TH-1", "life/CNMG-408~M~turn", "label-stocks", "forecasts-kept",
    "forecast-scores?by=key", "forecast-scores?by=month", "machines/M1/time-ahead",
    "tool-life-estimates", "feeds", "feed-gaps", "questions",
)  # fmt: skip


@pytest.fixture
def lived(client: FlaskClient, bench: SimpleNamespace, clock: Any) -> FlaskClient:
    """The small shop after a morning: one tool in, one worn out, parts counted."""
    first = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=first, part_count=0)
    clock.go_on(hours=1)
    bench.post("/v1/corrections", station="M1/T01", axis="X", change_mm="-0.01", kind="size")
    bench.post(
        "/v1/removals", station="M1/T01", reason="size", part_count=70, flank_wear_mm="0.1"
    )
    second = bench.measure(bench.build()["code"])["assembly"]
    bench.post("/v1/mounts", station="M1/T01", assembly=second)
    readings = [{"at": clock.go_on(minutes=1).isoformat(), "count": 71 + n} for n in range(9)]
    bench.post("/v1/counts", 202, machine="M1", readings=readings)
    return client


def _shape(document: dict[str, Any], path: str) -> dict[str, Any]:
    bare = path.partition("?")[0]
    for template, methods in document["paths"].items():
        pattern = re.sub(r"\\\{\w+\\\}", ".+", re.escape(template))
        if re.fullmatch(pattern, bare) and "get" in methods and "{" not in bare:
            content = methods["get"]["responses"]["200"]["content"]
            schema: dict[str, Any] = content["application/json"]["schema"]
            return schema
    raise AssertionError(f"{path} is not documented")


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_answer_has_the_documented_shape(lived: FlaskClient, unit: str) -> None:
    document = lived.get("/v1/openapi.json").get_json()
    wrong = []

    for name in (*_RECORDS, *_FACTS, *_VIEWS):
        path = f"/v1/{name}"
        answer = lived.get(f"{path}{'&' if '?' in path else '?'}length_unit={unit}")
        assert answer.status_code == 200, (path, answer.get_data(as_text=True))
        schema = _shape(document, path) | {"components": document["components"]}
        for error in OAS31Validator(schema).iter_errors(answer.get_json()):
            wrong.append((path, list(error.path), error.message[:200]))

    assert wrong == []


def test_a_list_of_the_past_shows_what_was_dated_up_to_then(lived: FlaskClient) -> None:
    then = "2026-01-05T08:30:00Z"

    now_rows = lived.get("/v1/mounts").get_json()["items"]
    rows = lived.get(f"/v1/mounts?as_of={then}").get_json()["items"]
    forecast = lived.get(f"/v1/forecasts?as_of={then}").get_json()

    assert (len(now_rows), len(rows)) == (2, 1)
    assert forecast["as_of"] == then
    assert forecast["items"][0]["parts_made"] == 0
    assert forecast["items"][0]["mounted_at"] == "2026-01-05T08:00:00Z"
