"""The shift as a supervisor reads it: what runs out, whether the night is safe, what blocks."""

from __future__ import annotations

import pypdfium2
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
    assert not page.select(".floor .wedge, .floor .unless")


def test_the_table_says_what_the_drawing_shows(client, mounted):
    page = read(client, "/shift/machines/M1")
    drawn = page.select(".floor tbody tr")
    rows = page.select("#as-table tbody tr")

    assert [words(one.th) for one in drawn] == [words(one.th) for one in rows]
    for one, row in zip(drawn, rows, strict=True):
        strip = one.select_one("svg.strip")
        assert strip["role"] == "img"
        assert strip["aria-label"].startswith(words(row.th))
        swaps = [word for word in words(row).split() if word.startswith("sister")]
        assert sum(int(mark["data-swaps"]) for mark in strip.select("use")) == len(swaps)


def test_a_machine_is_found_in_any_case_and_an_unknown_one_is_told(client):
    assert "M1" in words(read(client, "/shift/machines/m1").select_one("h1"))
    assert "There is no machine M99" in words(read(client, "/shift/machines/M99", 404))


@pytest.mark.parametrize(
    ("address", "title"),
    [("/shift", "Shift sheet the"), ("/shift/machines/M1", "Shift sheet for M1 the")],
)
def test_each_shift_page_leads_to_its_own_sheet(client, mounted, address, title):
    link = read(client, f"{address}?hours=48").select_one("a[href*='shift-sheet']")

    document = pypdfium2.PdfDocument(client.get(link["href"]).get_data())
    paper = " ".join(document[0].get_textpage().get_text_range().split())
    document.close()

    assert paper.startswith(f"{title} next 48 hours")


def test_a_machine_that_never_told_a_count_is_pointed_out(client, mounted):
    assert "no count yet" in words(read(client, "/shift").select_one(".heard"))


def test_every_due_swap_stands_with_its_why(client, mounted):
    listed = client.get("/v1/swap-list?hours=72").get_json()["items"]

    page = read(client, "/shift?hours=72")

    assert len(page.select("#due tbody tr")) == len(listed)


def test_nights_stand_with_their_state_and_lead_to_the_whole_of_it(client, mounted):
    nights = read(client, "/shift").select("#nights section")

    assert all(one.select_one(".state") for one in nights)
    for one in nights:
        whole = read(client, one.select_one("a.whole")["href"])
        assert "Your limit for" in words(whole.select_one("#nights"))
        assert whole.select_one("#limit input[name=night_limit_percent]")
    read(client, "/shift/nights/M1")


def test_a_strange_horizon_is_taken_as_the_usual_one(client):
    chosen = read(client, "/shift?hours=abc").select(".zooms [aria-current]")

    assert [words(one) for one in chosen] == ["24 h"]


def test_the_kit_of_the_running_run_says_what_stays_and_leads_to_its_sheet(client, mounted):
    run = client.get("/v1/runs?limit=1").get_json()["items"][0]["id"]

    page = read(client, f"/shift/kits/{run}")

    said = client.get(f"/v1/kits/{run}").get_json()
    found = words(page.select_one("#kit"))
    assert "this run is on" in found
    assert f"Stays in the machine ({len(said['keep'])})" in found
    order = [words(one).split(" (")[0] for one in page.select("#kit h2")]
    first = ["Build or measure at the bench", "Pull from the rack", "Stays in the machine"]
    assert [one for one in order if one in first] == first  # work first
    for table in page.select("#kit table"):
        heads = [words(one) for one in table.select("thead th")]
        rows = table.select("tbody tr")
        assert {len(row.select("th, td")) for row in rows} == {len(heads)}
        told = [words(row.select("td")[-1]) for row in rows]
        assert "What to know" not in heads or any(told)
    assert client.get(page.select_one("#kit a.button")["href"]).mimetype == "application/pdf"


def test_each_line_of_a_kit_says_where_its_things_lie(client):
    run = client.get("/v1/runs?limit=1").get_json()["items"][0]["id"]
    kit = client.get(f"/v1/kits/{run}").get_json()
    line = next(one for one in kit["build"] if one["tool_spec"] == "TURN-OD")
    place = client.get(f"/v1/holders/{line['holder']}").get_json()["location"]

    rows = read(client, f"/shift/kits/{run}").select("#kit tbody tr")

    said = next(words(row) for row in rows if "TURN-OD" in words(row))
    assert place
    assert f"{line['holder']}, {place}" in said
    assert line["sister"]["lot"] in said


def test_a_planned_run_stands_under_changeovers_with_its_kit(client, bench, mounted):
    given = client.get("/v1/runs?limit=1").get_json()["items"][0]
    bench.post("/v1/runs", machine="M1", part=given["part"], quantity=321)

    for address in ("/shift", "/shift/machines/M1"):
        row = read(client, address).select_one("#kits tbody tr")
        assert "321" in words(row)
        assert "Kit for" in words(read(client, row.select_one("a")["href"]).h1)


def test_a_shop_without_planned_runs_is_told_how_to_plan_one(client):
    assert "No run is planned" in words(read(client, "/shift").select_one("#kits"))
    assert "There is no run 999" in words(read(client, "/shift/kits/999", 404))


def test_holders_and_orders_stand_as_tables_and_not_as_bare_data(client, mounted):
    page = read(client, "/shift/blocked")

    needs = client.get("/v1/holder-needs").get_json()["items"]
    order = client.get("/v1/reorder-list").get_json()["items"]
    assert [words(one).split(" ")[0] for one in page.select("#holders tbody th")] == [
        one["holder_type"] for one in needs
    ]
    assert len(page.select("#order tbody tr")) == len(order)
    assert not page.select('a[href^="/v1/"]')


def test_what_blocks_leads_to_pages_for_people(client, mounted):
    assert not read(client, "/shift?hours=72").select('#blocks a[href^="/v1/"]')


def test_what_a_person_has_to_put_right_is_no_failed_computation(client, mounted, store):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE operations SET tool_number = 9 WHERE tool_number = 11")

    for address in ("/shift", "/shift/machines/M1", "/machines/M1"):
        page = read(client, address)
        told = page.select_one("#to-do")
        assert "has no station with tool number 9" in words(told), address
        assert "To put right" in words(told.h2)
        assert "not worked out" not in words(page.main)
    assert told.select_one("li a")["href"] == "/machines/M1"
    assert not read(client, "/machines/M2").select("#to-do li")
    said = client.get("/v1/swap-list").get_json()["problems"]
    assert any("has no station with tool number 9" in one for one in said)  # programs too


def test_a_path_whose_counter_stopped_leads_to_the_feeds(client, bench, clock, store):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE machines SET path_counters = '1|2' WHERE machine = 'M1'")
    for minutes in range(0, 200, 10):
        at = clock.go_on(minutes=10).isoformat()
        one = {"at": at, "count": minutes, "path": 1}
        bench.post("/v1/counts", 202, machine="M1", readings=[one])

    told = read(client, "/shift").select_one("#to-do")

    assert "Path 2 of machine M1 has sent no count yet" in words(told)
    assert told.select_one("li a")["href"] == "/shift/feeds"


def test_the_key_tells_what_comes_before_a_swap_from_what_comes_if_nobody_swaps(
    client, mounted
):
    told = {
        one.path["class"][0]: words(one)
        for one in read(client, "/shift").select(".key li")
        if one.path is not None
    }

    assert "before the swap" in told["wedge"]
    assert "without the swap" in told["unless"]
