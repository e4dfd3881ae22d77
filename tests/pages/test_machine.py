"""A machine drawn: what is in it, what is left, what is due; empty states."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest

from api import create_app
from api.settings import Settings
from crib.records.catalogue import GAUGES
from crib.store.records import insert_record
from tests.pages.reading import read, words
from tests.pages.test_machine_mount import asked, send


def test_a_shop_without_machines_says_what_to_do_first(store, clock):
    empty = create_app(Settings(store.url), store, clock).test_client()
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE machines SET retired_at = 1")

    assert "Import machines.csv" in words(read(empty, "/machines").main)


def test_the_list_leads_to_each_machine(client):
    page = read(client, "/machines")

    links = [link["href"] for link in page.select(".machine-line h2 a")]
    assert links == ["/machines/M1", "/machines/M2"]
    first = words(page.select_one(".machine-line"))
    assert first.startswith("M1 PIN-8 0 of 5 000 no count yet T01 empty: mount now")
    assert "sister to be built can be ready in 6 min" in first
    assert page.select_one(".machine-line p a")["href"].startswith("/machines/M1/stations/S")


def test_the_list_says_which_machine_is_silent_and_for_how_long(client, clock, behind):
    assert "last part" in words(read(client, "/machines").select_one(".machine-line"))

    clock.go_on(hours=3)
    line = words(read(client, "/machines").select_one(".machine-line"))
    assert "silent for 3 h 5 min" in line
    assert "silent for 3 h 5 min" in words(read(client, "/machines/M1").select_one("#due"))


def test_a_machine_says_for_how_long_and_how_many_parts_a_swap_is_overdue(
    client, behind, clock
):
    (row,) = (
        one for one in client.get("/v1/swap-list").get_json()["items"] if one["overdue_since"]
    )
    minutes = (clock() - datetime.fromisoformat(row["overdue_since"])) // timedelta(minutes=1)
    due = words(read(client, f"/machines/{row['machine']}").select_one("#due"))

    late = f"swap now overdue for {minutes // 60} h {minutes % 60} min"
    assert f"{late}, {row['overdue_parts']} parts past its swap" in due
    assert "swap now" not in due.replace(late, "")


@pytest.mark.parametrize("planned", [True, False])
def test_a_job_that_is_complete_leaves_the_swap_until_the_next_one(
    client, behind, bench, store, clock, planned
):
    (run,) = client.get("/v1/runs").get_json()["items"]
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET quantity = 300 WHERE state = 'running'")
    if planned:
        ahead = {name: run[name] for name in ("machine", "part", "quantity")}
        begins = (clock() + timedelta(hours=30)).isoformat()
        bench.post("/v1/runs", state="planned", start_at=begins, **ahead)
    (row,) = (
        one for one in client.get("/v1/swap-list").get_json()["items"] if one["overdue_since"]
    )
    following = f"next: {run['part']}" if planned else "no job planned"

    line = words(read(client, "/machines").select_one(".machine-line"))
    assert f"complete, 300 parts, {following}" in line
    assert "swap before the next job" in line
    floor = words(read(client, "/shift").select_one(".floor tbody tr"))
    assert f"complete, 300 parts, {following}" in floor
    assert "swap before the next job" in floor
    machine = words(read(client, "/machines/M1").main)
    assert "is complete: 300 parts." in machine
    assert ("No job planned." in machine) != planned
    station = words(read(client, f"/machines/M1/stations/{row['station_code']}").main)
    assert "Swap it before the next job." in station
    assert "swap now" not in line + floor + machine + station
    due = words(read(client, "/shift").select_one("#due tbody tr"))
    assert "swap before the next job" in due
    # nothing is cut with it, so that it is overdue on no page
    assert "overdue" not in " ".join((line, floor, machine, due))

    # one more part, and the edge cuts: it is to be swapped now
    at = clock.go_on(minutes=1)
    bench.post("/v1/counts", 202, machine="M1", readings=[{"at": at.isoformat(), "count": 301}])
    due = words(read(client, "/machines/M1").select_one("#due"))
    assert "swap now" in due
    assert "before the next job" not in due


def test_a_sister_that_waits_for_the_morning_says_that_nobody_is_at_the_bench(
    client, behind, clock
):
    assert "nobody at the bench" not in words(read(client, "/machines/M1").main)
    night = client.get("/v1/forecasts").get_json()["nights"][0]
    begins_at = datetime.fromisoformat(night["begins_at"])
    clock.go_on(seconds=(begins_at - clock() + timedelta(hours=1)).total_seconds())

    said = words(read(client, "/machines").select_one(".machine-line"))

    assert re.search(
        r"can be ready in \d+ h \d+ min \(nobody at the bench before Tue 05:00 ?\)", said
    )


def test_every_swap_that_is_due_is_named_on_the_card_and_on_the_shift(client, behind):
    rows = client.get("/v1/swap-list").get_json()["items"]
    (overdue,) = (one for one in rows if one["overdue_since"])
    (empty,) = (one for one in rows if one["why"] == "station_empty")

    card = words(read(client, "/machines").select_one(".machine-line"))
    assert "also" in card
    assert re.search(rf"{overdue['station']} (swap now )?overdue for", card)
    assert re.search(rf"{empty['station']} (empty: )?mount now", card)
    row = words(read(client, "/shift").select_one(".floor .next"))
    assert f"; also {empty['station']}" in row
    assert row.startswith(overdue["station"])


@pytest.mark.parametrize("address", ["/machines", "/machines/M1"])
def test_a_machine_says_tonight_s_verdict_and_leads_to_it(client, behind, address):
    (night,) = client.get("/v1/forecasts").get_json()["nights"]
    (link,) = read(client, address).main.select("a.tonight")
    said = {"run": "run", "swap": "swap, then run", "stand": "let it stand"}

    assert link["href"] == "/shift/nights/M1"
    if night["answer"] == "until":
        stop = datetime.fromisoformat(night["run_until"])
        assert words(link) == f"Tonight: stop at {stop:%H:%M}"
    else:
        assert words(link) == f"Tonight: {said[night['answer']]}"


def test_the_list_says_where_the_sister_lies(client, bench):
    tool = bench.ready()
    bench.post(f"/v1/assemblies/{tool}/rack-places", machine="M1", place="R1-3")

    line = words(read(client, "/machines").select_one(".machine-line"))
    assert f"T01 empty: mount now sister ready {tool}, rack of M1, R1-3" in line


def test_a_machine_shows_each_station_and_keeps_the_next_scan_in_focus(client, shop):
    page = read(client, "/machines/M1")

    stations = page.select(".slide li")
    assert len(stations) == 3
    assert words(stations[0]) == "T01 empty: mount now needs TURN-OD sister to be built"
    assert words(stations[1]).startswith("T11 empty: mount now needs CROSS-3")
    assert words(page.select_one(".slide details.free summary")) == "one free station"
    assert words(page.select_one(".slide details.free li")) == "T02 free"
    assert stations[0].a["href"] == f"/machines/M1/stations/{shop.codes['stations']['M1/T01']}"
    assert page.select_one("form[data-scan-on] input[name=code]").has_attr("autofocus")


def test_an_empty_station_names_the_tool_that_waits_for_it(client, bench, shop):
    tool = bench.ready()

    page = read(client, f"/machines/M1/stations/{shop.codes['stations']['M1/T01']}")

    lies = "not in the rack yet: look on the bench"
    assert f"sister ready {tool}, {lies}" in words(page.main)


def test_a_mounted_tool_shows_what_is_left(client, bench, shop):
    station = shop.codes["stations"]["M1/T01"]
    send(client, read(client, asked(station, bench.ready())), "mount")

    line = words(read(client, "/machines/M1").select_one(".slide li"))
    page = read(client, f"/machines/M1/stations/{station}")

    assert "parts until the swap" in line
    # what is left of it, not the life as a whole (forecast.parts_left, its median)
    (mounted,) = client.get("/v1/forecasts").get_json()["items"]
    left = f"{round(mounted['parts_left']['p50']):,}".replace(",", " ")
    assert f"half of such edges last another {left} parts" in line
    assert "Take it out" in words(page.main)
    assert page.select_one(".key-in .figure").get_text() == "+52.021"


def test_the_scan_of_a_station_opens_it(client, bench, shop):
    station = shop.codes["stations"]["M1/T01"]
    tool = bench.ready()

    empty = client.get(f"/machines/M2/scan?code={station.lower()}")
    send(client, read(client, asked(station, tool)), "mount")
    full = client.get(f"/machines/M2/scan?code=HTTPS://CRIB.EXAMPLE/C/{station}")
    of_tool = client.get(f"/machines/M2/scan?code={tool}")

    assert empty.headers["Location"] == f"/machines/M1/mount?station={station}"
    assert full.headers["Location"] == f"/machines/M1/stations/{station}"
    assert of_tool.headers["Location"] == f"/machines/M1/stations/{station}"


def test_the_page_of_a_code_leads_to_the_acts_at_the_machine(client, bench, shop):
    station = shop.codes["stations"]["M1/T01"]
    tool = bench.ready()

    of_tool = [link["href"] for link in read(client, f"/C/{tool}").select("main ul a")]
    machines = read(client, of_tool[0])
    send(client, read(client, asked(station, tool)), "mount")
    of_station = [link["href"] for link in read(client, f"/C/{station}").select("main ul a")]

    assert of_tool[0] == f"/machines?tool={tool}"
    assert machines.select_one("h2 a")["href"] == f"/machines/M1/mount?tool={tool}"
    assert of_station == [
        f"/machines/M1/remove?station={station}",
        f"/machines/M1/correct?station={station}",
    ]
    of_tool = [link["href"] for link in read(client, f"/C/{tool}").select("main ul a")]
    assert of_tool[:2] == of_station


def plan_later(client, bench, clock, **ahead):
    """Plan a job of a part that needs a tool in T02, which nothing needs before."""
    part = client.get("/v1/parts").get_json()["items"][0]
    first = part["operations"][0] | {"tool_number": 2}
    names = ("material", "material_group", "bar_diameter_mm", "part_length_mm", "cycle_s")
    kept = {name: part[name] for name in names}
    bench.post("/v1/parts", part="PIN-9", operations=[first], **kept)
    at = (clock() + timedelta(**ahead)).isoformat()
    bench.post("/v1/runs", machine="M1", part="PIN-9", quantity=500, start_at=at)
    run = client.get("/v1/runs").get_json()["items"][0]
    short = client.patch(
        f"/v1/runs/{run['id']}",
        json={"quantity": 300},
        headers={"If-Match": client.get(f"/v1/runs/{run['id']}").headers["ETag"]},
    )
    assert short.status_code == 200, short.get_data()


def test_a_station_of_a_job_days_ahead_is_no_warning_before(client, bench, shop, clock):
    station = f"/machines/M1/stations/{shop.codes['stations']['M1/T02']}"
    plan_later(client, bench, clock, days=5)

    line = read(client, "/machines/M1").select(".slide li")[1]
    page = read(client, station)

    assert words(line) == "T02 empty for a later job, PIN-9: TURN-OD"
    assert not line.select(".care-state, .bad")
    assert "The program for PIN-9 needs TURN-OD here." in words(page.main)
    assert not page.select("#station .care-state, #station .bad")
    clock.go_on(days=4, hours=14)  # 10 h before the job begins
    line = read(client, "/machines/M1").select(".slide li")[1]
    assert "empty" in words(line.select_one(".care-state"))
    assert "Mount one by" in words(read(client, station).main)


def test_a_sister_in_a_rack_is_sent_for_there_and_not_to_its_holders_drawer(
    client, bench, shop
):
    tool = bench.ready()
    bench.post(f"/v1/assemblies/{tool}/rack-places", machine="M1", place="R1-3")

    page = read(client, f"/machines/M1/stations/{shop.codes['stations']['M1/T01']}")

    assert f"sister ready {tool}, rack of M1, R1-3" in words(page.main)
    assert "shelf 1" not in words(page.main)


def test_the_front_page_says_what_the_shop_needs_and_leads_there(client, bench, monkeypatch):
    page = read(client, "/")
    shift = read(client, "/shift")

    needs = [words(li) for li in page.select(".answers.roles li")]
    asked = ["At the bench", "At a machine", "Over the shift"]
    asked += ["Machines", "To order", "Gauges"]
    assert [words(one.b) for one in page.select(".answers.roles li")] == asked
    assert "Check PG-1 first" in needs[0] or "jobs" in needs[0]
    assert "due now: M1/T" in needs[1]
    said = [words(li.select_one("a > span")) for li in shift.select(".answers li")]
    assert [words(li.select_one("a > span")) for li in page.select(".answers li")[3:]] == said[
        -3:
    ]
    # each thing once: tonight, what is overdue and the jobs of the bench have no second line
    assert needs[2].startswith(f"Over the shift {said[0]}")
    assert needs[1] == f"At a machine {said[2]}"
    assert len(needs) == len({one.partition(" ")[2] for one in needs})
    assert page.select_one("header form[role=search]")
    assert words(page.h1) == "What the shop needs now Mon 5 Jan 08:00"

    def fails(*_):
        raise RuntimeError("planted")

    monkeypatch.setattr("api.pages.front.shift_summary", fails)
    assert "Where are you?" in words(read(client, "/").main)


def test_the_front_page_asks_for_a_check_only_where_no_gauge_can_be_used(client, bench, store):
    assert "Check PG-1 first" in words(read(client, "/").select_one(".answers.roles li"))
    bench.check_gauge()
    with store.write() as tx:
        insert_record(tx, GAUGES, {"gauge": "PG-2"})

    line = read(client, "/").select_one(".answers").select_one("a[href='/bench/gauges']")
    assert (line["class"], words(line)) == (["calm"], "Gauges PG-2 is due for its check")
    assert "first" not in words(read(client, "/").select_one(".answers.roles li"))


@pytest.mark.parametrize(
    ("badge", "first"), [("B1", "/bench"), ("B2", "/machines"), ("B3", "/shift")]
)
def test_the_front_page_puts_the_work_of_whoever_stands_there_in_front(client, badge, first):
    client.post("/who", data={"person": badge, "back": "/"})
    links = [one["href"] for one in read(client, "/").select(".roles a")]

    assert links[0] == first
    assert sorted(links[:3]) == ["/bench", "/machines", "/shift"]
