"""The shift as a supervisor reads it: what runs out, whether the night is safe, what blocks."""

from __future__ import annotations

import pytest

from tests.pages.reading import read, words


@pytest.fixture
def mounted(client, bench, clock):
    """A tool in M1/T01, with parts told."""
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(minutes=10)
    return code


def test_a_shop_without_mounted_tools_says_what_to_do_first(client):
    page = read(client, "/shift")

    assert "No tool is mounted" in words(page.select_one("#timeline"))
    assert page.select_one("svg.runs-out") is None


def test_the_table_says_what_the_drawing_shows(client, mounted):
    page = read(client, "/shift/machines/M1")
    drawn = page.select_one("svg.runs-out")
    rows = page.select("#as-table tbody tr")

    assert drawn["role"] == "img"
    assert [one.get_text() for one in drawn.select("text.name")] == [
        row.select_one("th").get_text() for row in rows
    ]
    swaps = [word for row in rows for word in words(row).split() if word.startswith("sister")]
    assert len(drawn.select("use")) == len(swaps)


def test_a_machine_is_found_in_any_case_and_an_unknown_one_is_told(client):
    assert "M1" in words(read(client, "/shift/machines/m1").select_one("h1"))
    assert "There is no machine M99" in words(read(client, "/shift/machines/M99", 404))


def test_a_machine_that_never_told_a_count_is_pointed_out(client, mounted):
    assert "no count was ever told" in words(read(client, "/shift").select_one(".heard"))


def test_every_due_swap_stands_with_its_why(client, mounted):
    listed = client.get("/v1/swap-list?hours=72").get_json()["items"]

    page = read(client, "/shift?hours=72")

    assert len(page.select("#due tbody tr")) == len(listed)


def test_nights_stand_with_their_state_and_lead_to_the_whole_of_it(client, mounted):
    nights = read(client, "/shift").select("#nights section")

    assert all(one.select_one(".state") for one in nights)
    for one in nights:
        whole = read(client, one.select_one("h3 a")["href"])
        assert "Limit" in words(whole.select_one("#nights"))
    read(client, "/shift/nights/M1")


def test_a_strange_horizon_is_taken_as_the_usual_one(client):
    assert "24" in words(read(client, "/shift?hours=abc").select_one("h1"))
