"""The bench queue as the attendant sees it, and where a scan leads from it."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from crib.records.catalogue import RUNS
from crib.store.records import get_record, update_record
from tests.pages.reading import form_data, parsed, read, words


@pytest.fixture
def mounted(client, bench, clock) -> str:
    """A tool that cuts in M1/T01; its sister wants building on TH-2."""
    code = bench.ready("TH-1")
    clock.go_on(minutes=5)
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    return code


def turning_job(page):
    """The job for M1/T01; the drill that T11 lacks comes before it."""
    return next(job for job in page.select("#queue tbody tr") if "Build TURN-OD" in words(job))


def test_a_bench_without_a_tool_in_any_machine_begins_with_what_the_run_needs(client):
    page = read(client, "/bench")

    assert [words(job.select_one("a")) for job in page.select("#queue tbody tr")[:2]] == [
        "Build TURN-OD",
        "Build CROSS-3",
    ]


def test_an_empty_bench_says_what_to_do_first(client, store, shop):
    with store.write() as tx:
        number = shop.ids["runs"]["M1"]
        version = get_record(tx, RUNS, number)["version"]
        update_record(tx, RUNS, number, {"state": "done"}, version)
    page = read(client, "/bench")

    assert "No tool is mounted yet" in words(page)
    assert page.select_one("[data-scan]").has_attr("autofocus")


def test_a_job_names_all_that_it_takes(client, mounted):
    page = read(client, "/bench")

    text = words(turning_job(page))
    rows = client.get("/v1/bench-queue").get_json()["items"]
    row = next(one for one in rows if one["station"] == "T01")
    assert "Build TURN-OD" in text
    for said in ("TH-2, shelf 1", "CNMG-408", "LOT-I1", "M1/T01", "6 min"):
        assert said in text
    assert f"Edge {row['recipe']['edge']} of 4" in text
    assert ("late" in text.split("start by")[0]) == row["late"]


def test_a_holder_scanned_from_anywhere_begins_its_job(client, mounted, shop):
    answer = client.get("/bench/find", query_string={"code": shop.codes["holders"]["TH-2"]})

    page = read(client, answer.headers["Location"])

    assert page.select_one("[name=tool_spec] option[selected]").get_text() == "TURN-OD"
    assert page.select_one("[name=lot]")["value"] == "LOT-I1"
    assert page.select_one("[name=edge]")["value"]
    assert page.select_one("[data-key=F2]").has_attr("autofocus")


def test_the_next_job_leads_to_its_form_filled_in_and_builds_what_it_said(client, mounted):
    first = read(client, "/bench").select_one("section.next")
    assert first.select_one("[data-key=F2]")["href"] == first.select_one("h2 a")["href"]
    address = turning_job(read(client, "/bench")).select_one("a")["href"]
    form = read(client, address).select_one("form[method=post]")

    answer = client.post("/bench/build", data=form_data(form))

    assert answer.status_code == 303
    built = client.get(f"/v1/assemblies/{answer.headers['Location'].split('/')[-1]}").get_json()
    assert built["recipe"]["holder"] == "TH-2"
    assert f"Measure {built['code']}, TURN-OD" in words(read(client, "/bench"))


@pytest.mark.parametrize(
    ("record", "mark", "leads"),
    [
        ("holders", "TH-1", "/bench/work/A"),
        ("lots", "LOT-I1", "/bench/build?lot=L"),
        ("gauges", "PG-1", "/bench/gauges/PG-1"),
        ("stations", "M1/T01", "/C/S"),
        ("people", "B1", "/C/P"),
    ],
)
def test_what_is_scanned_leads_to_its_work(client, bench, shop, record, mark, leads):
    bench.build("TH-1")

    by_code = client.get("/bench/find", query_string={"code": shop.codes[record][mark]})

    assert by_code.headers["Location"].startswith(leads)


def test_a_mark_and_an_address_lead_to_the_work_too(client, bench, shop):
    code = bench.build("TH-1")["code"]

    for text in ("TH-1", f"HTTPS://CRIB.EXAMPLE/C/{code}", code.lower()):
        answer = client.get("/bench/find", query_string={"code": text})
        page = read(client, answer.headers["Location"])
        assert code in words(page.select_one("h1"))


@pytest.mark.parametrize(("text", "status"), [("NOBODY", 404), ("A00001X", 404), ("", 422)])
def test_what_leads_nowhere_is_told_at_the_field_and_stays_typed(client, text, status):
    page = read(client, f"/bench/find?code={text}", status)

    assert words(page.select_one("#scan-code-wrong"))
    assert page.select_one("[name=code]")["value"] == text


def test_swaps_whose_sister_cannot_be_ready_are_named_with_the_reason(client, bench):
    first = bench.ready("TH-1")
    bench.post("/v1/mounts", station="M1/T01", assembly=first)
    tag = client.get("/v1/holders/TH-2").headers["ETag"]
    lent = {"json": {"condition": "lent"}, "headers": {"If-Match": tag}}
    assert client.patch("/v1/holders/TH-2", **lent).status_code == 200

    blocked = client.get("/v1/bench-queue").get_json()["blocked"]
    page = read(client, "/bench")

    assert blocked
    assert blocked[0]["sister"]["missing"][0]["sentence"] in words(page.select_one(".blocked"))


# --- the form ---------------------------------------------------------------------------------


def test_every_mismatch_is_told_at_its_field_and_everything_stays(client, rows):
    entries = {"tool_spec": "TURN-OD", "holder": "DH-1", "lot": "LOT-D1", "edge": "1"}

    answer = client.post("/bench/build", data=entries)
    page = parsed(answer.get_data())

    assert answer.status_code == 409
    for name in ("holder", "lot"):
        field = page.select_one(f"[name={name}]")
        assert (field["value"], field["aria-invalid"]) == (entries[name], "true")
        assert words(page.select_one(f"#{field['aria-describedby']}"))
    assert rows("assemblies") == 0


def test_a_form_without_its_holder_says_so_at_the_field(client):
    answer = client.post("/bench/build", data={"tool_spec": "TURN-OD", "lot": "LOT-I1"})

    assert answer.status_code == 422
    assert parsed(answer.get_data()).select_one("[name=holder]")["aria-invalid"] == "true"


@pytest.mark.parametrize("edge", ["one", "0", "9", "-1", "1.5"])
def test_an_edge_that_is_none_is_told_at_its_field(client, edge, rows):
    entries = {"tool_spec": "TURN-OD", "holder": "TH-1", "lot": "LOT-I1", "edge": edge}

    answer = client.post("/bench/build", data=entries)

    assert answer.status_code == 422
    assert parsed(answer.get_data()).select_one("[name=edge]")["aria-invalid"] == "true"
    assert rows("assemblies") == 0


def test_cautions_stand_before_building(client):
    assert "edges cut" in words(read(client, "/bench/build")).lower()


def test_a_job_that_is_overdue_is_late_from_when_its_swap_was_due(client, behind, clock):
    def told():
        rows = client.get("/v1/bench-queue").get_json()["items"]
        return {row["station"]: row for row in rows if row["due_since"]}

    before = told()
    clock.go_on(hours=20)  # over night
    after, page = told(), read(client, "/bench")

    assert set(before) == set(after) == {"T01", "T11"}
    for station, row in after.items():
        since = datetime.fromisoformat(row["due_since"])
        minutes = (datetime.fromisoformat(row["finish_at"]) - since) / timedelta(minutes=1)
        assert row["due_since"] == before[station]["due_since"]
        assert row["lateness_min"] == pytest.approx(minutes)
        assert row["lateness_min"] > before[station]["lateness_min"]
        shown = page.select_one(f"#job-{row['position']}")
        assert shown.select_one("td[data-name=Needed] time")["datetime"] == row["due_since"]
        assert "Due since" in words(shown)
    assert "needed since" in words(page.select_one("section.next"))
