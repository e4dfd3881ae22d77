"""A row that names one that is not there costs nobody else the plan, and is told in words.

Only a damaged file holds such rows; they are made past every check in a copy of the busy shop.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from types import SimpleNamespace
from typing import Any

import pytest

from api.application import attach_site
from api.settings import Settings
from crib.store.checking import check
from crib.store.engine import Store
from tests.rest.test_damaged_columns import damage

TURN, DRILL, FIRST, LAST = "A00003K", "A00004I", "A00001O", "A00006E"
NOWHERE = 2**62


@pytest.fixture
def damaged(busy, store, clock) -> Iterator[Callable[..., SimpleNamespace]]:
    """Let a column of the last or first row of a table name nothing, and look at the shop."""
    opened: list[Store] = []

    def look(table: str, column: str, which: str = "max") -> SimpleNamespace:
        with closing(sqlite3.connect(store.path)) as file:
            file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        damage(store.path, table, column, NOWHERE, which)
        copy = Store(store.url)
        opened.append(copy)
        attach_site(busy.client.application, Settings(copy.url), copy, clock)
        return SimpleNamespace(client=busy.client, store=copy)

    yield look
    for one in opened:
        one.close()


def plan(client: Any) -> tuple[dict[str, Any], list[str]]:
    answer = client.get("/v1/forecasts").get_json()
    return {row["assembly"]: row for row in answer["items"]}, answer["problems"]


#: What is damaged, the tool that nothing is known of then, and what is said of the row.
LOST = {
    ("holder_types", "id", "max"): (DRILL, "Row 2 of tool_specs names a row of holder_types"),
    ("tool_specs", "id", "max"): (DRILL, "of assemblies name rows of tool_specs"),
    ("tool_specs", "holder_type_id", "min"): (
        TURN,
        "tool_specs names a row of holder_types",
    ),
    ("lots", "id", "max"): (DRILL, "of assemblies name rows of lots"),
    ("cutting_items", "id", "max"): (DRILL, "Row 2 of lots names a row of cutting_items"),
    ("mounts", "assembly_id", "max"): ("", "of mounts names a row of assemblies"),
}


@pytest.mark.parametrize(("table", "column", "which"), list(LOST))
def test_a_tool_whose_record_is_gone_stays_in_the_list(damaged, table, column, which):
    tool, told = LOST[table, column, which]
    client = damaged(table, column, which).client

    found, problems = plan(client)

    assert {code for code, row in found.items() if row["why"] == "not_worked_out"} == {tool}
    assert len(found) == 2
    assert "is not on record. Look at the edge" in found[tool]["why_sentence"]
    assert [one for one in problems if told in one]
    assert all(one.endswith("Run crib check, then restore a backup.") for one in problems)
    for page in ("/shift", "/machines/M1", "/bench", "/v1/swap-list", "/v1/bench-queue"):
        assert client.get(page).status_code == 200
    shift = client.get("/shift").get_data(as_text=True)
    assert told in shift
    german = client.get("/shift", headers={"Accept-Language": "de"}).get_data(as_text=True)
    assert "crib check aufrufen, dann eine Sicherung" in german


@pytest.mark.parametrize(
    ("table", "column"),
    [("operations", "tool_spec_id"), ("tool_spec_items", "cutting_item_id"), ("label_codes",
      "assembly_id"), ("runs", "part_id"), ("mounts", "station_id")],
)  # fmt: skip
def test_a_row_that_names_nothing_is_told_beside_the_plan(damaged, table, column):
    found, problems = plan(damaged(table, column).client)

    assert TURN in found
    assert [one for one in problems if f"of {table} names a row of " in one]


@pytest.mark.parametrize(
    ("table", "column", "name", "count"),
    [
        ("lots", "id", "assemblies", 3),
        ("mounts", "station_id", "mounts", 1),
        ("gauges", "id", "gauge-checks", 1),
        ("machines", "id", "refused-counts", 0),
    ],
)
def test_a_list_names_the_rows_that_it_cannot_show(damaged, table, column, name, count):
    client = damaged(table, column).client

    answer = client.get(f"/v1/{name}?limit=1000").get_json()

    assert len(answer["problems"]) == count
    assert all(f" of {name} cannot be read" in one for one in answer["problems"])
    page = client.get(f"/v1/{name}?limit=1").get_json()
    walked = len(page["items"]) + len(page["problems"])
    while page["next"]:
        page = client.get(f"/v1/{name}?limit=1&after={page['next']}").get_json()
        walked += len(page["items"]) + len(page["problems"])
    assert walked == len(answer["items"]) + count


def test_a_request_about_the_damaged_record_says_so(damaged):
    client = damaged("tool_specs", "id", "max").client

    answer = client.get(f"/v1/assemblies/{DRILL}")

    assert answer.status_code == 409
    assert answer.get_json()["type"] == "/problems/damaged-record"
    assert "names is not there. Run crib check" in answer.get_json()["detail"]
    page = client.get(f"/bench/work/{DRILL}", headers={"Accept": "text/html"})
    assert page.status_code == 409
    assert "names is not there. Run crib check" in page.get_data(as_text=True)
    assert client.get(f"/v1/assemblies/{TURN}").status_code == 200


@pytest.mark.parametrize(
    ("table", "column", "value", "says"),
    [
        ("assemblies", "edge", "x", "holds x as edge"),
        ("label_codes", "assembly_id", "x", "holds x as assembly_id"),
        ("assembly_state", "ended_at", NOWHERE, "A time in this record cannot be read"),
        ("presets", "why_not", "x", "A value of this record cannot be read"),
        ("presets", "why_not", -5, "A value of this record cannot be read"),
        ("tool_life", "n", "x", "Tool-life constants cannot be read"),
        ("edge_uses", "grind", "x", "holds x as grind"),
    ],
)
def test_a_value_of_another_kind_is_named_where_its_record_is_asked_for(
    busy, store, table, column, value, says
):
    assert damage(store.path, table, column, value)

    tool = FIRST if table == "tool_life" else LAST
    answer = busy.client.get(f"/v1/assemblies/{tool}").get_json()

    assert answer["type"] == "/problems/damaged-record"
    assert says in answer["detail"]
    assert "crib check" in answer["detail"]


def test_a_list_leaves_out_the_row_with_a_value_of_another_kind(busy, store):
    whole = busy.client.get("/v1/assemblies?limit=1000").get_json()["items"]
    assert damage(store.path, "assemblies", "edge", "x")

    found = busy.client.get("/v1/assemblies?limit=1000").get_json()

    assert found["items"] == whole[:-1]
    assert found["problems"] == [
        "Row 27 of assemblies cannot be read, so it is not shown. Run crib check: it names "
        "what is damaged."
    ]


def test_a_reading_that_is_none_is_told_and_costs_no_plan(busy, store):
    assert damage(store.path, "count_readings", "total", "x")

    found, problems = plan(busy.client)

    assert found.keys() == {TURN, DRILL}
    assert [
        one for one in problems if one.startswith("Counter readings that cannot be read: 1.")
    ]


@pytest.mark.parametrize("column", ["path", "tool_number"])
@pytest.mark.parametrize("value", ["x", 1e300, NOWHERE])
def test_a_station_without_a_place_in_its_program_costs_no_other_its_swap(
    busy, store, column, value
):
    assert damage(store.path, "stations", column, value, "min")

    for page in ("/v1/swap-list", "/v1/forecasts", "/shift", "/v1/shift-sheet.pdf"):
        assert busy.client.get(page).status_code == 200
    found, _ = plan(busy.client)
    lost = {code for code, row in found.items() if row["why"] == "not_worked_out"}
    assert lost == {TURN}
    assert f"{column} is " in found[TURN]["why_sentence"]


def test_tools_are_told_in_the_open_format_though_the_first_fact_has_no_time(busy, store):
    assert damage(store.path, "facts", "recorded_at", "x", "min")

    assert busy.client.get("/v1/mtconnect/assets").status_code == 200


def test_a_chance_that_is_none_is_left_out_where_forecasts_are_judged(busy, store):
    assert damage(store.path, "kept_forecasts", "lasts_shift", -5, "min")

    answer = busy.client.get("/were-we-right")

    assert answer.status_code == 200
    assert "could not be judged, so they do not" in answer.get_data(as_text=True)


def test_the_sheet_of_a_shift_is_printed_though_a_lot_was_received_on_no_day(busy, store):
    assert damage(store.path, "lots", "received_on", NOWHERE)

    assert busy.client.get("/v1/shift-sheet.pdf").status_code == 200


@pytest.mark.parametrize("path", ["x", 1e300])
def test_a_reading_of_a_path_that_is_none_costs_its_machine_no_page(busy, store, path):
    assert damage(store.path, "count_readings", "path", path, "min")

    assert busy.client.get("/machines/M1").status_code == 200
    _, problems = plan(busy.client)
    assert [
        one for one in problems if one.startswith("Counter readings that cannot be read: 1.")
    ]


@pytest.mark.parametrize(("minutes", "shown"), [("x", "x"), (1e300, "1e+300")])
def test_minutes_that_are_none_cost_no_page_but_their_own_figure(busy, store, minutes, shown):
    assert damage(store.path, "tool_specs", "swap_minutes", minutes)

    for page in ("/shift", "/shift/nights/M1", "/v1/shift-summary", "/v1/forecasts"):
        assert busy.client.get(page).status_code == 200
    found, _ = plan(busy.client)
    assert found[DRILL]["why"] == "not_worked_out"
    assert f"swap_minutes is {shown}" in found[DRILL]["why_sentence"]
    assert found[TURN]["why"] != "not_worked_out"


@pytest.mark.parametrize("which", ["min", "max"])
@pytest.mark.parametrize("table", ["runs", "stations"])
def test_a_row_of_a_machine_that_is_no_number_is_told_and_costs_no_plan(
    busy, store, table, which
):
    assert damage(store.path, table, "machine_id", "x", which)

    for page in ("/shift", "/machines", "/v1/swap-list", "/v1/shift-summary", "/rack"):
        assert busy.client.get(page).status_code == 200
    _, problems = plan(busy.client)
    assert [one for one in problems if f"of {table} names a row of machines" in one]


@pytest.mark.parametrize(
    ("table", "column", "value", "page", "says"),
    [
        ("tool_spec_items", "cutting_item_id", NOWHERE, "/bench/build",
         "Row 2 of tool-specs cannot be read, so it is not shown."),
        ("gauges", "check_hours", "x", "/bench/gauges",
         "It is not known whether gauge PG-1 may be used. Correct its record"),
        ("kept_forecasts", "left_p90", -5, "/v1/forecasts-kept",
         "could not be judged, so it is not listed."),
        ("kept_forecasts", "fails_unattended", 2, "/v1/forecasts-kept", "could not be judged"),
        ("kept_forecasts", "life_p90", "x", "/v1/forecasts-kept",
         "could not be judged, so it is not listed."),
    ],
)  # fmt: skip
def test_a_page_names_the_row_that_it_cannot_use(busy, store, table, column, value, page, says):
    assert says not in busy.client.get(page).get_data(as_text=True)
    assert damage(store.path, table, column, value)

    answer = busy.client.get(page)

    assert answer.status_code == 200
    assert says in answer.get_data(as_text=True)


def test_check_names_each_row_that_names_nothing(damaged):
    store = damaged("tool_specs", "id", "max").store

    told = "\n".join(check(store))

    for table in ("operations", "tool_spec_items", "assemblies"):
        assert f" of {table} names a row of tool_specs that is not there." in told
