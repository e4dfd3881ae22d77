"""A shop that filled in the needed columns alone: counts without a run are told, then charged.

The shop is made by the help page itself: every file holds the columns that it prints in bold,
and "about 800 parts" as ``life_parts``.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.acts.import_shop import import_shop
from crib.store.engine import Store
from tests.pages.reading import form_data, read, words
from tests.rest.conftest import SetClock

_CELLS = {
    "machine": "L1", "station": "T01", "tool_number": "1", "cutting_item": "INS-1",
    "kind": "turn", "designation": "CNMG120408", "holder_type": "SQ12", "holder": "H-1",
    "lot": "LOT-1", "quantity": "100", "tool_spec": "OD", "cutting_items": "INS-1",
    "part": "A-102", "material": "1.4305", "material_group": "M", "cycle_s": "40",
    "sequence": "10", "tool_material": "carbide", "n": "0.25", "c_m_min": "200",
    "calendar": "day", "weekday": "mon", "start": "06:00", "end": "22:00", "attended": "yes",
    "badge": "7", "gauge": "PG-9", "name": "Ida Quill", "role": "attendant",
}  # fmt: skip
_IN = {
    "cutting_items.csv": {"kind": "insert"},
    "runs.csv": {"quantity": "5000"},
    "closures.csv": {"start": "2030-12-24", "end": "2030-12-26", "kind": "closed"},
}
_LIFE = {"tool_specs.csv": {"life_parts": "800"}}


def write_needed_columns(client: FlaskClient, folder: Path) -> None:
    """Write every file of the help page with one row of its bold columns."""
    tables = read(client, "/help/shop-files").select("table[data-file]")
    assert {"machines.csv", "parts.csv", "runs.csv"} <= {str(t["data-file"]) for t in tables}
    for table in tables:
        file = str(table["data-file"])
        if file == "tool_life.csv":  # "about 800 parts" stands in the spec
            continue
        bold = [words(name) for name in table.select("th strong")]
        row = {name: _CELLS[name] for name in bold} | _IN.get(file, {}) | _LIFE.get(file, {})
        text = ",".join(row) + "\n" + ",".join(row.values()) + "\n"
        (folder / file).write_text(text, encoding="utf-8")


@pytest.fixture
def bold(
    store: Store,
    client: FlaskClient,
    clock: SetClock,
    bench: SimpleNamespace,
    tmp_path: Path,
) -> FlaskClient:
    """That shop beside the small one: machine L1 with one tool in it, its run planned."""
    write_needed_columns(client, tmp_path)
    done = import_shop(store, tmp_path)
    assert not done.errors
    bench.check_gauge()
    code = bench.build("H-1", tool_spec="OD", lot="LOT-1")["code"]
    bench.measure(code)
    bench.post("/v1/mounts", station="L1/T01", assembly=code)
    clock.go_on(hours=2)
    return client


def post_counts(client: FlaskClient, *counts: tuple[str, int], machine: str = "L1") -> Any:
    readings = [{"at": f"2026-01-05T{at}:00Z", "count": count} for at, count in counts]
    answer = client.post("/v1/counts", json={"machine": machine, "readings": readings})
    assert answer.status_code == 202, answer.get_data(as_text=True)
    return answer.get_json()


PART_B = {"part": "B-7", "material": "1.4305", "material_group": "M", "cycle_s": 40}


def at(clock_time: str) -> str:
    return f"2026-01-05T{clock_time}:00Z"


def claim(client: FlaskClient, run: int, **more: str) -> Any:
    answer = client.post("/v1/run-claims", json={"run": run, **more})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return answer.get_json()


def share_used(client: FlaskClient) -> float:
    rows = client.get("/v1/forecasts?machine=L1").get_json()["items"]
    return float(rows[0]["share_used"])


def test_counts_without_a_run_are_told_and_charged_once_it_is_named(bold: FlaskClient) -> None:
    answer = post_counts(bold, ("08:00", 0), ("09:00", 80), ("10:00", 120))
    assert answer["parts_without_run"] == 120
    assert answer["without_run"].startswith("120 parts")
    assert share_used(bold) == 0.0

    (told,) = bold.get("/v1/parts-without-run").get_json()["items"]
    assert (told["machine"], told["parts"], told["since"]) == (
        "L1", 120, "2026-01-05T08:00:00Z",
    )  # fmt: skip
    assert [(one["part"], one["how"]) for one in told["runs"]] == [("A-102", "planned")]

    for address in ("/machines", "/shift", "/shift/feeds", "/machines/L1"):
        said = words(read(bold, address))
        assert "120 parts of L1 belong to no run" in said, address


def test_one_touch_starts_the_planned_run_where_its_parts_began(
    bold: FlaskClient, clock: SetClock
) -> None:
    post_counts(bold, ("08:00", 0), ("09:00", 80), ("10:00", 120))
    form = read(bold, "/machines").select_one("form.run-claim")
    button = form.select_one("button[name=run]")
    assert words(button) == "Start A-102"
    data = form_data(form) | {"run": button["value"], "back": "/machines"}
    answer = bold.post("/machines/L1/run", data=data)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/machines")

    (run,) = bold.get("/v1/runs?machine=L1").get_json()["items"]
    assert (run["state"], run["start_at"]) == ("running", "2026-01-05T08:00:00Z")
    assert share_used(bold) == pytest.approx(120 / 800)  # the parts that lay there
    assert bold.get("/v1/parts-without-run").get_json()["items"] == []
    assert "belong to no run" not in words(read(bold, "/shift"))
    clock.go_on(minutes=2)
    assert post_counts(bold, ("10:02", 123))["parts_without_run"] == 0
    assert share_used(bold) == pytest.approx(123 / 800)


def test_a_run_that_began_earlier_or_went_on_longer_is_charged_too(bold: FlaskClient) -> None:
    post_counts(bold, *((f"0{8 + hour}:00", 90 * hour) for hour in range(2)), ("10:00", 150))
    bold.post("/v1/parts", json=PART_B)
    for start, end in (("08:20", "08:40"), ("09:20", None)):
        run = {"machine": "L1", "part": "B-7", "quantity": 900, "start_at": at(start)}
        more = {"state": "done", "end_at": at(end)} if end else {"state": "running"}
        assert bold.post("/v1/runs", json=run | more).status_code == 201

    told = bold.get("/v1/parts-without-run").get_json()["items"]
    assert [(one["parts"], one["since"], one["until"]) for one in told] == [
        (50, at("08:40"), at("09:20")),  # a third of 90, a third of 60
        (30, at("08:00"), at("08:20")),
    ]
    hows = [{one["how"] for one in row["runs"]} for row in told]
    assert hows == [{"began_later", "ended_before"}, {"began_later"}]

    first, second = (row["runs"] for row in reversed(told))
    done = claim(bold, first[0]["run"], since=at("08:00"))
    assert (done["parts"], done["start_at"], done["state"]) == (30, at("08:00"), "done")
    longer = next(one for one in second if one["how"] == "ended_before")
    assert longer["run"] == done["run"]
    done = claim(bold, longer["run"])
    assert (done["parts"], done["end_at"]) == (50, at("09:20"))
    assert bold.get("/v1/parts-without-run").get_json()["items"] == []

    again = bold.post("/v1/run-claims", json={"run": done["run"]})
    assert again.status_code == 409
    assert "nothing is left to assign" in again.get_json()["detail"]


def test_a_stretch_between_two_runs_is_not_started_by_a_planned_one(bold: FlaskClient) -> None:
    post_counts(bold, ("08:00", 0), ("09:00", 90))
    planned = bold.get("/v1/runs?machine=L1").get_json()["items"][0]
    bold.post("/v1/parts", json=PART_B)
    body = {"machine": "L1", "part": "B-7", "quantity": 900, "start_at": at("08:30")}
    assert bold.post("/v1/runs", json=body | {"state": "running"}).status_code == 201
    refused = bold.post("/v1/run-claims", json={"run": planned["id"]})
    assert refused.status_code == 409
    assert "lies between" in refused.get_json()["detail"]


def test_a_run_told_as_done_takes_no_counts_made_after_it(
    bold: FlaskClient, clock: SetClock
) -> None:
    post_counts(bold, ("08:00", 0), ("09:00", 80))
    (told,) = bold.get("/v1/parts-without-run").get_json()["items"]
    run = claim(bold, told["runs"][0]["run"])["run"]
    tag = bold.get(f"/v1/runs/{run}").headers["ETag"]
    done = bold.patch(f"/v1/runs/{run}", json={"state": "done"}, headers={"If-Match": tag})
    assert done.get_json()["end_at"] == clock().isoformat().replace("+00:00", "Z")

    clock.go_on(hours=2)
    answer = post_counts(bold, ("09:30", 100), (f"{clock():%H:%M}", 150))

    assert answer["parts_without_run"] > 0
    (told,) = bold.get("/v1/parts-without-run").get_json()["items"]
    assert (told["parts"], told["runs"][0]["how"]) == (40, "ended_before")


def test_a_shop_with_the_bold_columns_alone_has_a_first_day(
    store: Store, client: FlaskClient, clock: SetClock, bench: SimpleNamespace, tmp_path: Path
) -> None:
    """Files, what is empty, a tool built from the list, counts, one touch, wear."""
    write_needed_columns(client, tmp_path)
    assert not import_shop(store, tmp_path).errors
    runs = client.get("/v1/runs?machine=L1").get_json()["items"]
    assert [(one["state"], one["start_at"]) for one in runs] == [("planned", None)]

    (row,) = now_on(client)
    assert (row["station"], row["why"], row["tool_spec"]) == ("T01", "station_empty", "OD")
    assert "empty" in words(read(client, "/machines/L1").select_one("#due"))
    (job,) = (
        one
        for one in client.get("/v1/bench-queue").get_json()["items"]
        if one["machine"] == "L1" and one["ordinal"] == 0
    )
    bench.check_gauge()
    tool = bench.build(job["holder"], tool_spec=job["tool_spec"], lot=job["lot"])["code"]
    bench.measure(tool)
    (row,) = now_on(client)
    assert row["sister"]["state"] == "ready"
    bench.post("/v1/mounts", station="L1/T01", assembly=row["sister"]["assembly"])
    assert "station_empty" not in {one["why"] for one in now_on(client)}

    clock.go_on(hours=9)
    post_counts(client, ("08:05", 0), ("12:00", 300), ("17:00", 712))
    assert share_used(client) == 0.0
    assert "712 parts of L1 belong to no run" in words(read(client, "/shift"))
    form = read(client, "/machines").select_one("form.run-claim")
    button = form.select_one("button[name=run]")
    data = form_data(form) | {"run": button["value"], "back": "/machines"}
    assert client.post("/machines/L1/run", data=data).status_code == 303

    assert share_used(client) == pytest.approx(712 / 800)
    (row,) = now_on(client)
    assert row["assembly"] == tool
    assert row["sister"]["state"] in ("build", "blocked")
    assert not client.get("/v1/parts-without-run").get_json()["items"]


def now_on(client: FlaskClient) -> list[dict[str, Any]]:
    """Rows of what is in L1 now, or has to be."""
    rows = client.get("/v1/swap-list?machine=L1").get_json()["items"]
    return [one for one in rows if one["ordinal"] == 0]
