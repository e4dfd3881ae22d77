"""Tools in the open format: what stands in it, and that the standard's schema accepts it."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace
from xml.etree.ElementTree import Element

import pytest
import xmlschema
from defusedxml.ElementTree import fromstring
from flask.testing import FlaskClient

from crib.acts.book_feed import FeedNews, book_feed
from crib.records.catalogue import STATIONS
from crib.store.engine import Store
from crib.store.records import list_records, update_record
from tests.rest.conftest import SetClock

NS = "{urn:mtconnect.org:MTConnectAssets:2.4}"
SCHEMA = "MTConnectAssets_2.4_1.0.xsd"
PUBLISHED = Path(__file__).resolve().parents[2] / "fixtures" / "mtconnect" / "schema"
#: Another folder with the standard's schema, for who wants to try a newer one.
SCHEMAS = Path(os.environ.get("MTCONNECT_SCHEMAS") or PUBLISHED)


def assets(client: FlaskClient, path: str = "") -> list[Element]:
    answer = client.get(f"/v1/mtconnect/assets{path}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert answer.mimetype == "application/xml"
    return list(fromstring(answer.get_data()).iter(f"{NS}CuttingTool"))


def texts(tool: Element, name: str) -> list[str | None]:
    return [one.text for one in tool.iter(f"{NS}{name}")]


def test_a_measured_tool_is_told_with_its_exact_measures(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = bench.ready()

    (tool,) = assets(client)

    assert tool.get("assetId") == code
    assert (tool.get("toolId"), tool.get("serialNumber")) == ("TURN-OD", "TH-1")
    assert texts(tool, "Status") == ["AVAILABLE", "MEASURED"]
    assert texts(tool, "FunctionalLength") == ["80.0010"]
    assert texts(tool, "FunctionalWidth") == ["16.0103"]
    assert texts(tool, "CornerRadius") == ["0.8000"]
    assert texts(tool, "Location") == []


def test_a_mounted_tool_tells_parts_used_limit_and_warning(
    client: FlaskClient, bench: SimpleNamespace, clock: SetClock
) -> None:
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code, part_count=0, by="B2")
    clock.go_on(minutes=30)
    at = clock.at.isoformat()
    bench.post("/v1/counts", 202, machine="M1", readings=[{"at": at, "count": 40}])
    forecast = client.get("/v1/forecasts").get_json()["items"][0]

    (tool,) = assets(client, f"/{code}")

    parts, minutes = list(tool.iter(f"{NS}ToolLife"))
    assert (parts.get("type"), parts.get("countDirection"), parts.text) == (
        "PART_COUNT",
        "UP",
        "40",
    )
    limit = forecast["parts_made"] + forecast["swap_after_parts"]
    assert parts.get("limit") == str(limit)
    assert 40 <= float(parts.get("warning") or 0) <= limit
    assert minutes.get("type") == "MINUTES"
    assert float(minutes.text or 0) == pytest.approx(forecast["engaged_min"], abs=0.01)
    assert texts(tool, "Location") == ["1"]
    assert "station M1/T01" in str(texts(tool, "Description")[0])
    assert texts(tool, "ProgramToolNumber") == ["1"]
    assert {"USED", "ALLOCATED"} <= set(texts(tool, "Status"))


def test_a_mounted_tool_is_of_the_device_that_its_agent_names(
    client: FlaskClient, bench: SimpleNamespace, store: Store, clock: SetClock
) -> None:
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B2")
    (tool,) = assets(client, f"/{code}")
    assert tool.get("deviceUuid") is None  # our name of the machine is no uuid
    assert next(tool.iter(f"{NS}Location")).get("toolBar") is None

    with store.write() as tx:
        book_feed(tx, clock.at, FeedNews("M1", "mtconnect", clock.at, device="sl-01"))
        book_feed(tx, clock.at, FeedNews("M1", "mtconnect", clock.at))
        row = next(one for one in list_records(tx, STATIONS) if one["station"] == "T11")
        update_record(tx, STATIONS, row["id"], {"path": 2})
    (tool,) = assets(client, f"/{code}")

    assert tool.get("deviceUuid") == "sl-01"
    assert next(tool.iter(f"{NS}Location")).get("toolBar") == "path1"
    assert "station M1/T01, path 1" in str(texts(tool, "Description")[0])


def test_a_code_that_nothing_carries_is_a_plain_problem(client: FlaskClient) -> None:
    answer = client.get("/v1/mtconnect/assets/A00001X")

    assert answer.status_code == 404
    assert answer.mimetype == "application/problem+json"


def test_only_as_many_as_asked_for_the_newest_first(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    bench.ready("TH-1")
    newest = bench.build("TH-2")["code"]

    (tool,) = assets(client, "?count=1")

    assert tool.get("assetId") == newest


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema10:
    return xmlschema.XMLSchema10(str(SCHEMAS / SCHEMA))


def test_the_standards_schema_accepts_every_tool(
    schema: xmlschema.XMLSchema10,
    client: FlaskClient,
    bench: SimpleNamespace,
    clock: SetClock,
    store: Store,
) -> None:
    # ANSI/MTC1.4, schema MTConnectAssets 2.4 as published by the standard's body
    mounted = bench.ready("TH-1")
    bench.build("TH-2")
    bench.post("/v1/mounts", station="M1/T01", assembly=mounted, part_count=0, by="B2")
    with store.write() as tx:
        row = next(one for one in list_records(tx, STATIONS) if one["station"] == "T11")
        update_record(tx, STATIONS, row["id"], {"path": 2})
    clock.go_on(minutes=30)
    at = clock.at.isoformat()
    bench.post("/v1/counts", 202, machine="M1", readings=[{"at": at, "count": 40}])

    answer = client.get("/v1/mtconnect/assets")

    schema.validate(answer.get_data(as_text=True))


def test_the_schema_would_see_a_status_of_our_own(schema: xmlschema.XMLSchema10) -> None:
    assert schema.is_valid(str(PUBLISHED / "sample_cutting_tool.xml"))
    assert not schema.is_valid(str(PUBLISHED / "bad_status.xml"))
