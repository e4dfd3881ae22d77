"""The racks over HTTP: what waits, for which swap, and what speaks against mounting it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient


def tools(client: FlaskClient, query: str = "") -> dict[str | None, list[dict[str, Any]]]:
    answer = client.get(f"/v1/rack{query}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return {rack["machine"]: rack["tools"] for rack in answer.get_json()["racks"]}


def end_job(client: FlaskClient) -> None:
    """No station waits for a tool any more."""
    (run,) = client.get("/v1/runs?state=running").get_json()["items"]
    path = f"/v1/runs/{run['id']}"
    tag = client.get(path).headers["ETag"]
    answer = client.patch(path, json={"state": "done"}, headers={"If-Match": tag})
    assert answer.status_code == 200, answer.get_data(as_text=True)


def test_a_tool_that_nobody_needs_stands_where_it_was_put(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    end_job(client)
    code = bench.ready()
    bench.build("TH-2")  # not measured yet: it is no tool to take

    assert [one["code"] for one in tools(client)[None]] == [code]
    clock.go_on(hours=3)
    placed = bench.post(
        f"/v1/assemblies/{code}/rack-places", machine="M2", place="A 3", by="B1"
    )

    assert (placed["assembly"], placed["machine"], placed["place"]) == (code, "M2", "A 3")
    (tool,) = tools(client)["M2"]
    assert (tool["rack_machine"], tool["place"], tool["machine"]) == ("M2", "A 3", None)
    assert tool["age_hours"] == pytest.approx(3.0)
    assert (tool["ready"], tool["problems"], tool["label"]) == (True, [], "not_on_record")
    assert tools(client, "?machine=M1") == {}
    assert list(tools(client, "?machine=m2")) == ["M2"]
    assert client.get("/v1/rack?machine=M9").status_code == 404
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    assert tools(client) == {}
    (listed,) = client.get(f"/v1/rack-places?assembly={code}").get_json()["items"]
    assert (listed["machine"], listed["place"], listed["by"]) == ("M2", "A 3", "B1")


def test_a_sister_stands_with_the_swap_that_needs_it(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    mounted = bench.ready()
    sister = bench.measure(bench.build("TH-2")["code"])["assembly"]
    bench.post("/v1/mounts", station="M1/T01", assembly=mounted, part_count=0)
    clock.go_on(minutes=5)
    reading = {"at": clock.at.isoformat(), "count": 6}
    bench.post("/v1/counts", 202, machine="M1", readings=[reading])
    bench.post(f"/v1/assemblies/{sister}/rack-places", machine="M2")

    (tool,) = tools(client, "?hours=720")["M1"]

    assert (tool["code"], tool["machine"], tool["station"]) == (sister, "M1", "T01")
    assert (tool["tool_number"], tool["path"]) == (1, 1)
    assert tool["swap_by"] is not None
    assert tool["problems"] == ["It is in the rack of M2, but M1 needs it: move it."]


def test_what_speaks_against_a_waiting_tool_is_said(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    end_job(client)
    code = bench.ready()
    bench.post(f"/v1/assemblies/{code}/label-prints", stock="roll-62x29")
    assert tools(client)[None][0]["label"] == "printed"
    code = bench.measure(code)["assembly"]
    clock.go_on(hours=1)
    off = [{"lf_mm": "100.04", "wf_mm": "50.0"}] * 3
    bench.post("/v1/gauge-checks", gauge="PG-1", readings=off)
    tag = client.get("/v1/holders/TH-1").headers["ETag"]
    client.patch("/v1/holders/TH-1", json={"condition": "lent"}, headers={"If-Match": tag})
    clock.go_on(days=91)

    (tool,) = tools(client)[None]

    assert (tool["code"], tool["ready"], tool["label"]) == (code, False, "superseded")
    assert (tool["holder_out"], tool["gauge_failed_at"]) == (True, "2026-01-05T09:00:00Z")
    said = " ".join(tool["problems"])
    for words in ("preset expired", "Gauge PG-1 failed", "earlier preset", "out of service"):
        assert words in said
