"""A row that cannot be read or printed is left out of its list, and named; the others stand."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from typing import Any

import pytest

BEYOND = 2**62
TEXT = "x"

#: List -> what is damaged in one row of it: table, column, value.
LISTED = {
    "/v1/runs": ("runs", "start_at", BEYOND),
    "/v1/gauges": ("gauges", "check_hours", TEXT),
    "/v1/cutting-items": ("cutting_items", "lead_days", TEXT),
    "/v1/holders": ("holders", "retired_at", BEYOND),
    "/v1/tool-specs": ("tool_spec_items", "cutting_item_id", BEYOND),
    "/v1/parts": ("operations", "engaged_s", TEXT),
    "/v1/assemblies": ("facts", "recorded_at", BEYOND),
    "/v1/presets": ("presets", "lf_tenths_um", TEXT),
    "/v1/mounts": ("facts", "at", BEYOND),
    "/v1/gauge-checks": ("facts", "at", TEXT),
    "/v1/counts": ("count_batches", "accepted", TEXT),
    "/v1/stock-moves": ("stock_moves", "balance_after", TEXT),
    "/v1/audit": ("facts", "recorded_at", BEYOND),
}


def spoil(store: Any, table: str, column: str, value: object, rowid: int) -> None:
    """Write a value past every check."""
    with closing(sqlite3.connect(store.path, isolation_level=None)) as file:
        file.execute("PRAGMA ignore_check_constraints = 1")
        triggers = file.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
        )
        for (name,) in triggers.fetchall():
            file.execute(f"DROP TRIGGER {name}")
        changed = file.execute(
            f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (value, rowid)
        )
        assert changed.rowcount == 1


def pages(client: Any, path: str, limit: int) -> tuple[list[Any], list[str]]:
    """Every row of a list and every problem, page by page."""
    found: list[Any] = []
    problems: list[str] = []
    after = ""
    for _ in range(200):
        answer = client.get(f"{path}?retired=yes&limit={limit}{after}")
        if answer.status_code == 422:  # of facts none is retired
            answer = client.get(f"{path}?limit={limit}{after}")
        assert answer.status_code == 200, answer.get_data(as_text=True)
        told = json.loads(answer.get_data(), parse_constant=pytest.fail)
        assert len(told["items"]) + len(told["problems"]) <= limit
        found += told["items"]
        problems += told["problems"]
        if told["next"] is None:
            return found, problems
        assert f"after={told['next']}" in answer.headers["Link"]
        after = f"&after={told['next']}"
    pytest.fail("the pages have no end")


def number_of(row: dict[str, Any]) -> int:
    return int(row["id"] if "id" in row else row["fact"])


@pytest.mark.parametrize("path", LISTED)
def test_a_damaged_row_is_named_and_no_other_is_lost(busy, store, path):
    table, column, value = LISTED[path]
    whole, nothing = pages(busy.client, path, 1_000)
    assert nothing == []
    number = number_of(whole[len(whole) // 2])
    spoil(store, table, column, value, number)

    for limit in (1, 2, 1_000):
        after, problems = pages(busy.client, path, limit)

        (problem,) = problems
        assert f"Row {number} of {path.removeprefix('/v1/')} cannot be read" in problem
        assert "crib check" in problem
        assert after == [row for row in whole if number_of(row) != number]


@pytest.mark.parametrize("place", ["first", "last"])
def test_a_page_that_begins_or_ends_with_a_damaged_row_leads_on(busy, store, place):
    whole = pages(busy.client, "/v1/audit", 1_000)[0]
    for row in whole[:3] if place == "first" else whole[-3:]:
        spoil(store, "facts", "at", BEYOND, row["fact"])

    after, problems = pages(busy.client, "/v1/audit", 2)

    assert after == (whole[3:] if place == "first" else whole[:-3])
    assert len(problems) == 3


def test_a_damaged_row_asked_for_by_itself_says_so(busy, store):
    spoil(store, "runs", "start_at", BEYOND, busy.run)
    (check,) = busy.client.get("/v1/gauge-checks").get_json()["items"]
    spoil(store, "facts", "recorded_at", BEYOND, check["fact"])

    run = busy.client.get(f"/v1/runs/{busy.run}")
    fact = busy.client.get(f"/v1/gauge-checks/{check['fact']}")

    assert (run.status_code, fact.status_code) == (409, 409)
    assert run.get_json()["detail"].startswith("This record cannot be read. Run crib check")
    assert f"Row {check['fact']} of gauge-checks" in fact.get_json()["detail"]
