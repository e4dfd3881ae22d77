"""What the bench says first: one box, how many jobs are late, and the table of all jobs."""

from __future__ import annotations

from urllib.parse import urlencode

import pytest

from tests.pages.reading import read, words


def jobs(page) -> list[str]:
    """The table's jobs as text, in its order."""
    return [words(row) for row in page.select("#queue tbody tr")]


def positions(page) -> list[int]:
    return [int(text.split(".")[0]) for text in jobs(page)]


@pytest.fixture
def checked(bench) -> None:
    """The shop's gauge is checked, so that work may begin."""
    bench.check_gauge()


def test_a_gauge_that_is_due_is_the_one_thing_on_top(client):
    page = read(client, "/bench")

    (box,) = page.select("section.next")
    assert words(box.select_one("h2")) == "Check gauge PG-1"
    assert box.select_one("[data-key=F2]")["href"] == "/bench/gauges/PG-1"
    assert "was never checked" in words(box)
    assert "First job:" in words(box)
    assert len(page.select("[data-key=F2]")) == 1


def test_the_first_job_says_what_to_take_where_it_lies_for_which_station_and_by_when(
    client, behind, checked
):
    row = client.get("/v1/bench-queue").get_json()["items"][0]

    (box,) = read(client, "/bench").select("section.next")

    said = words(box)
    assert f"Build {row['tool_spec']}" in words(box.select_one("h2"))
    for thing, place in (
        (row["holder"], row["recipe"]["holder_location"]),
        (row["lot"], row["recipe"]["lot_location"]),
    ):
        assert (f"{thing}, {place}" if place else thing) in said
    assert f"For {row['machine']}, station {row['station']}: needed since 06:00" in said
    assert f"{row['minutes']:g} min of work" in said


def test_a_built_tool_is_looked_for_where_somebody_put_it(client, behind, bench, checked):
    row = client.get("/v1/bench-queue").get_json()["items"][0]
    what = {name: row[name] for name in ("tool_spec", "holder", "lot")}
    built = bench.post("/v1/assemblies", **what)
    box = read(client, "/bench").select_one("section.next")
    assert f"Measure {built['code']}" in words(box)
    lies = f"{built['code']}, not in the rack yet: look on the bench"
    assert lies in words(box)
    # the holder is in the tool: it has no row of its own here
    assert [words(one) for one in box.select(".takes dt")] == ["Tool"]
    machine = read(client, f"/machines/{row['machine']}")
    assert lies in words(machine)
    # where its holder belongs is no place to look for it
    place = row["recipe"]["holder_location"]
    assert place not in words(box)
    assert place not in words(read(client, f"/bench/work/{built['code']}").main)

    # a place holds from the scan on, whether it was measured or not
    bench.post(f"/v1/assemblies/{built['code']}/rack-places", place="on the bench")
    for address in ("/bench", f"/machines/{row['machine']}"):
        said = words(read(client, address).main)
        assert f"{built['code']}, on the bench" in said
        assert "not in the rack yet" not in said


def test_one_line_says_how_many_jobs_there_are_and_how_many_are_late(client, behind, checked):
    rows = client.get("/v1/bench-queue").get_json()["items"]
    late = [f"{row['machine']}/{row['station']}" for row in rows if row["late"]]
    assert len(late) > 1  # else the line says one in words

    said = words(read(client, "/bench").select_one(".count"))

    swaps = client.get("/v1/swap-list").get_json()["items"]
    assert [one["sister"]["state"] for one in swaps].count("blocked") == 1
    named = ", ".join(late[:3]) + (f" and {len(late) - 3} more" if late[3:] else "")
    assert said == f"{len(rows)} jobs, {len(late)} late: {named}, one more blocked"


def test_jobs_are_sorted_and_filtered_by_the_address_alone(client, behind):
    rows = client.get("/v1/bench-queue").get_json()["items"]
    assert len(rows) > 2

    def job(row):
        return row["work"], row["tool_spec"]

    by_spec = sorted(rows, key=job)

    everything = read(client, "/bench")
    assert positions(everything) == [row["position"] for row in rows]
    assert everything.select_one("th[aria-sort=ascending]").get_text() == "#"
    head = everything.select_one("th[aria-sort] a[href*='sort=job']")
    sorted_page = read(client, head["href"].split("#")[0])
    assert positions(sorted_page) == [row["position"] for row in by_spec]
    assert words(sorted_page.select_one("th[aria-sort=ascending]")) == "Job"
    other = sorted_page.select_one("th[aria-sort=ascending] a")["href"].split("#")[0]
    backwards = sorted(rows, key=job, reverse=True)
    assert positions(read(client, other)) == [row["position"] for row in backwards]

    for asked, kept in (
        ({"q": rows[1]["holder"].lower()}, lambda row: row["holder"] == rows[1]["holder"]),
        ({"state": "late"}, lambda row: row["late"]),
        ({"work": "measure"}, lambda row: row["work"] == "measure"),
        ({"machine": "M2"}, lambda row: row["machine"] == "M2"),
        ({"sort": "nonsense", "machine": "M1"}, lambda row: row["machine"] == "M1"),
    ):
        page = read(client, f"/bench?{urlencode(asked)}")
        assert positions(page) == [row["position"] for row in rows if kept(row)]
        first = words(page.select_one("section.next h2"))
        assert first == words(everything.select_one("section.next h2"))


def test_what_fits_no_job_says_so_with_a_way_back(client, behind):
    page = read(client, "/bench?q=no+such+thing")

    assert jobs(page) == []
    assert page.select_one("a[href='/bench#jobs']")
    assert page.select_one("#queue-q")["value"] == "no such thing"
