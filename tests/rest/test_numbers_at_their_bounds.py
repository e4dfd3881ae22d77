"""A shop whose numbers all lie at their bounds: every page answers, with finite numbers."""

from __future__ import annotations

import json
import os
import re
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.records.catalogue import CATALOGUE
from crib.records.columns import Column
from crib.store.bounds import numbers_of

#: More shops than the few that every run makes.
EXAMPLES = int(os.environ.get("CRIB_SHOPS_AT_BOUNDS", "2"))

#: What tells records apart or counts what lies in a box; the shop would be another one.
KEPT = {"tool_number", "path", "sequence", "offset_register", "quantity", "edges"}

#: Addresses that need no more than a machine, a station or a tool.
PATHS = (
    "/", "/machines", "/machines/M1", "/shift", "/shift/blocked", "/shift/machines/M1",
    "/shift/nights/M1", "/bench", "/rack", "/lives", "/were-we-right", "/v1/forecasts",
    "/v1/swap-list", "/v1/bench-queue", "/v1/reorder-list", "/v1/costs", "/v1/life",
    "/v1/planned-stops", "/v1/rack", "/v1/holder-needs", "/v1/tool-life-estimates",
    "/v1/machines/M1/time-ahead", "/v1/shift-sheet.pdf", "/v1/mtconnect/assets",
    "/machines/M1/known.json",
    *(f"/v1/{record.name.replace('_', '-')}" for record in CATALOGUE if not record.owner),
)  # fmt: skip


def ends(column: Column) -> st.SearchStrategy[Any]:
    """The bounds of a column as they are stored, and 0 where that stands for none."""
    kind = float if column.kind == "number" else round
    found = [kind(column.minimum * column.scale), kind(column.maximum * column.scale)]
    return st.sampled_from([*found, *([kind(0)] if column.zero else [])])


@st.composite
def shops(draw: st.DrawFn) -> dict[str, dict[str, Any]]:
    return {
        record.name: {
            column.stored: draw(ends(column))
            for column in numbers_of(record.columns)
            if column.name not in KEPT
        }
        for record in CATALOGUE
    }


@pytest.fixture
def running(client, clock, bench):
    """The small shop with a tool that cuts, is counted and was corrected twice."""
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B1")
    for count in (0, 20, 40):
        clock.go_on(minutes=15)
        reading = {"at": clock.at.isoformat(), "count": count}
        bench.post("/v1/counts", 202, machine="M1", readings=[reading])
        if count:
            step = {"station": "M1/T01", "axis": "X", "change_mm": "-0.004", "kind": "size"}
            bench.post("/v1/corrections", by="B1", **step)
    return client


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(shop=shops())
def test_every_page_of_a_shop_at_its_bounds_answers(running, store, shop):
    with store.write() as tx:
        for table, numbers in shop.items():
            if numbers:
                change = ", ".join(f"{name} = ?" for name in numbers)
                tx.exec_driver_sql(f"UPDATE {table} SET {change}", tuple(numbers.values()))

    for path in PATHS:
        answer = running.get(path)
        text = answer.get_data(as_text=True) if not path.endswith(".pdf") else ""
        assert answer.status_code < 500, (path, text[:500])  # or a refusal that says why
        if answer.status_code >= 400:
            assert "mm" in text, (path, text[:500])
        if answer.mimetype == "application/json":
            json.loads(
                text, parse_constant=lambda word, path=path: pytest.fail(f"{path}: {word}")
            )
        assert not re.search(r">\s*(nan|inf|-inf)\s*<", text), path


def test_one_clearance_near_nothing_is_told_by_its_station_alone(running, store):
    with store.write() as tx:
        tx.exec_driver_sql("DROP TRIGGER tool_specs_bounds_update")
        tx.exec_driver_sql("UPDATE tool_specs SET clearance_deg = 5e-324, wear_limit_mm = 0.3")

    for path in PATHS:
        assert running.get(path).status_code in (200, 302, 303, 308), path
    listed = running.get("/v1/swap-list").get_json()["items"]
    (row,) = (one for one in listed if one["station"] == "T01")
    assert row["why"] == "not_worked_out"
    assert "clearance_deg is 5e-324" in row["why_sentence"]
    for night in running.get("/v1/forecasts").get_json()["nights"]:
        assert not night["safe"]
        assert night["not_known"] == ["T01"]
    assert "5e-324" in running.get("/shift").get_data(as_text=True)
