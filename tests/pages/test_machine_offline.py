"""What a browser is told ahead for a dead spot, the site's clock, and the page's worker."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import api
from crib.clock import print_instant
from tests.pages.reading import parsed, read, words
from tests.pages.test_machine_mount import asked, send


def known(client, machine: str = "M1") -> dict[str, Any]:
    answer = client.get(f"/machines/{machine}/known.json")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_each_station_is_told_with_what_it_holds_and_expects(client, bench, shop, clock):
    station = shop.codes["stations"]["M1/T01"]
    tool = bench.ready()
    send(client, read(client, asked(station, tool)), "mount")

    found = known(client)

    assert found["known_at"] == print_instant(clock())
    first = found["stations"][0]
    assert (first["code"], first["mark"]) == (station, "M1/T01")
    assert (first["holds"], first["holds_spec"]) == (tool, "TURN-OD")
    assert first["specs"] == ["TURN-OD"]
    assert first["axes"][0] == {"axis": "X", "now": "+52.021", "counted": "on diameter"}
    assert first["increment"] == "0.001"


def test_a_tool_that_may_come_is_told_with_the_figures_of_the_page(client, bench, shop):
    station = shop.codes["stations"]["M1/T01"]
    tool = bench.ready()

    [told] = known(client)["tools"]

    look = told["looks"][station]
    assert (told["code"], look["against"]) == (tool, [])
    ahead = parsed(look["key_in"])
    page = read(client, asked(station, tool))
    for part in (".key-in", ".tip", "pre", ".care"):
        assert words(ahead.select_one(part)) == words(page.select_one(part))


def test_a_tool_that_may_not_go_in_is_told_with_the_reasons_and_without_figures(
    client, bench, shop
):
    station = shop.codes["stations"]["M1/T01"]
    bench.check_gauge()
    bench.build()

    [told] = known(client)["tools"]

    look = told["looks"][station]
    assert [one["slug"] for one in look["against"]] == ["no-preset"]
    assert "never measured" in look["against"][0]["told"]
    assert look["key_in"] == ""


def test_a_sister_behind_an_occupied_station_keeps_its_figures(client, bench, shop):
    station = shop.codes["stations"]["M1/T01"]
    send(client, read(client, asked(station, bench.ready())), "mount")
    sister = bench.ready("TH-2")

    told = next(one for one in known(client)["tools"] if one["code"] == sister)

    look = told["looks"][station]
    assert [one["slug"] for one in look["against"]] == ["station-occupied"]
    assert "+52.021" in parsed(look["key_in"]).get_text()


def test_codes_of_earlier_labels_are_told_as_such(client, bench):
    old = bench.ready()
    new = bench.measure(old)["assembly"]

    [told] = known(client)["tools"]

    assert (told["code"], told["void_codes"]) == (new, [old])


def test_without_a_run_the_tools_that_fit_are_told(client, bench, shop, store):
    tool = bench.ready()
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done', end_at = start_at + 1")

    looks = known(client)["tools"][0]["looks"]

    assert known(client)["tools"][0]["code"] == tool
    codes = shop.codes["stations"]
    assert sorted(looks) == sorted([codes["M1/T01"], codes["M1/T02"]])


def test_what_did_not_change_is_not_sent_again(client, bench, clock):
    bench.ready()
    tag = client.get("/machines/M1/known.json").headers["ETag"]
    clock.go_on(seconds=30)

    again = client.get("/machines/M1/known.json", headers={"If-None-Match": tag})

    assert again.status_code == 304


def test_what_is_known_says_up_to_which_fact(client, bench, shop, store):
    station = shop.codes["stations"]["M1/T01"]
    tool = bench.ready()
    before = known(client)["recorded"]

    fact = bench.post("/v1/mounts", station=station, assembly=tool)["fact"]

    assert before == fact - 1
    assert known(client)["recorded"] == fact


def test_a_refused_fact_is_answered_in_the_readers_language_too(client, bench, shop):
    station = shop.codes["stations"]["M1/T01"]
    first, second = bench.ready(), bench.ready("TH-2")
    bench.post("/v1/mounts", station=station, assembly=first)
    body = {"station": station, "assembly": second}

    script = {"Accept": "*/*"}
    plain = client.post("/v1/mounts", json=body, headers=script)
    german = client.post("/v1/mounts", json=body, headers={**script, "Accept-Language": "de"})

    assert plain.status_code == german.status_code == 409
    assert "said" not in plain.get_json()
    told = german.get_json()
    assert told["detail"] == plain.get_json()["detail"]
    assert told["said"] != told["detail"]
    assert first in told["said"]
    assert all(one["said"] != one["detail"] for one in told["errors"])


def test_the_clock_is_the_sites_and_never_kept(client, clock):
    answer = client.get("/machines/clock.json")

    assert answer.get_json() == {"now": print_instant(clock()), "speed": 1.0}
    assert answer.headers["Cache-Control"] == "no-store"


def test_the_worker_knows_every_file_that_a_machine_page_loads(client):
    answer = client.get("/sw.js")
    text = answer.get_data(as_text=True)
    given = json.loads(re.match(r"const GIVEN = (.*);\n", text)[1])
    page = read(client, "/machines/M1")

    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"
    loaded = {one["src"] for one in page.select("script[src]")}
    loaded |= {one["href"] for one in page.select("link[rel=stylesheet]")}
    assert loaded <= set(given["files"])
    for file in given["files"]:
        with client.get(file) as kept:
            assert kept.status_code == 200
    assert "/static/sw.js" not in given["files"]


def test_every_word_that_the_scripts_say_stands_in_the_page(client):
    said, copied = set(), set()
    for file in sorted((Path(api.__file__).parent / "static").glob("offline_*.js")):
        text = file.read_text()
        for first in re.findall(r"said\(([^,)]*)", text):
            said |= set(re.findall(r'"(\w+)"', first))
        copied |= set(re.findall(r'copy\((?:fits \? )?"([\w-]+)"', text))
    page = read(client, "/machines/M1")
    place = page.select_one("#offline")

    kept = {name.removeprefix("data-said-") for name in place.attrs if "data-said" in name}

    assert len(said) > 20
    as_written = {re.sub(r"[A-Z]", lambda one: f"-{one[0].lower()}", one) for one in said}
    assert as_written <= kept
    assert len(copied) > 5
    assert copied <= {one["id"] for one in page.select("template[id]")}
