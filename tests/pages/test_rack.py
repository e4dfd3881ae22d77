"""The racks as a person reads them: what waits for whom, and what is wrong with it."""

from __future__ import annotations

from datetime import datetime, timedelta

from api.pages.bench import rack as racks
from crib.records.catalogue import RUNS
from crib.store.records import get_record, update_record
from tests.pages.reading import read, words


def test_empty_racks_say_what_fills_them(client):
    page = read(client, "/rack")

    assert "No measured tool waits" in words(page)
    assert page.select_one("#racks a")["href"] == "/bench"


def test_a_sister_stands_with_the_machine_that_needs_it(client, bench, clock):
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready("TH-1"))
    clock.go_on(minutes=10)
    sister = bench.measure(bench.build("TH-2")["code"])["assembly"]
    bench.post(f"/v1/assemblies/{sister}/rack-places", machine="M1", place="R1-3")

    page = read(client, "/rack")

    tool = words(page.select_one(f"tr#tool-{sister}"))
    assert "ready for M1/T01 by " in tool
    assert "rack M1, R1-3" in tool
    assert "no print on record" in tool
    links = [one["href"] for one in page.select("#racks a")]
    assert f"/C/{sister}" in links
    assert f"/bench/work/{sister}" in links


def test_a_superseded_label_and_a_holder_lent_out_are_told(client, bench):
    code = bench.ready()
    bench.post(f"/v1/assemblies/{code}/label-prints")
    code = bench.measure(code)["assembly"]
    tag = client.get("/v1/holders/TH-1").headers["ETag"]
    patched = client.patch(
        "/v1/holders/TH-1", json={"condition": "lent"}, headers={"If-Match": tag}
    )
    assert patched.status_code == 200

    page = read(client, "/rack")

    tool = words(page.select_one(f"section[aria-labelledby=asking] tr#tool-{code}"))
    assert not page.select("details tr")
    assert "not ready" in tool
    assert "superseded: take it off" in tool
    assert "Holder TH-1 is out of service (lent)" in tool


def test_the_racks_belong_to_the_bench_and_each_is_folded_away(client, bench, store, shop):
    first, second = two_tools(client, bench, store, shop)
    for code, machine in ((first, "M1"), (second, "M2")):
        bench.post(f"/v1/assemblies/{code}/rack-places", machine=machine, place="R1")

    page = read(client, "/rack")

    assert [one["href"] for one in page.select("nav [aria-current]")] == ["/bench"]
    racks = {words(one.h2): one for one in page.select("#racks details")}
    assert list(racks) == ["M1", "M2"]
    assert not any(one.has_attr("open") for one in racks.values())
    assert racks["M1"].select_one(f"#tool-{first}")
    assert words(racks["M1"].summary) == "M1 one tool, none needed in 24 h"
    assert "needs no tool from the racks" in words(page)
    found = read(client, "/rack?q=m2").select("#racks details")
    assert [words(one.h2) for one in found if one.has_attr("open")] == ["M2"]


def test_what_this_shift_needs_stands_above_the_racks(client, bench, clock, monkeypatch):
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready("TH-1"))
    clock.go_on(minutes=10)
    sister = bench.measure(bench.build("TH-2")["code"])["assembly"]
    (rack,) = client.get("/v1/rack").get_json()["racks"]
    (due,) = [datetime.fromisoformat(tool["swap_by"]) for tool in rack["tools"]]

    def wanted(shift_end):
        monkeypatch.setattr(racks, "shift_end", lambda shop: shift_end)
        page = read(client, "/rack")
        assert len(page.select(f"#tool-{sister}")) == 1
        return page.select(f"section[aria-labelledby=wanted] #tool-{sister}")

    assert wanted(due)
    assert not wanted(due - timedelta(minutes=1))


def test_the_racks_are_searched_by_any_word_of_a_tool(client, bench):
    code = bench.ready()
    bench.post(f"/v1/assemblies/{code}/rack-places", machine="M1", place="R1-3")

    for q in (code.lower(), "th-1", "turn-od", "m1 r1-3"):
        assert read(client, f"/rack?q={q}").select(f"#tool-{code}"), q
    page = read(client, "/rack?q=r1-3+nobody")
    assert not page.select(f"#tool-{code}")
    assert "No tool in the racks has r1-3 nobody." in words(page)
    assert page.select_one("#rack-q")["value"] == "r1-3 nobody"


def two_tools(client, bench, store, shop):
    """Two measured tools that no swap needs: both belong where somebody puts them."""
    with store.write() as tx:
        number = shop.ids["runs"]["M1"]
        version = get_record(tx, RUNS, number)["version"]
        update_record(tx, RUNS, number, {"state": "done"}, version)
    return bench.ready("TH-1"), bench.ready("TH-2")


def test_a_second_tool_on_one_place_is_asked_about_at_once_and_until_it_is_told(
    client, bench, store, shop
):
    first, second = two_tools(client, bench, store, shop)
    bench.post(f"/v1/assemblies/{first}/rack-places", machine="M1", place="place 1")
    form = read(client, f"/bench/work/{second}").select_one("#finish-rack form")
    data = {one["name"]: one.get("value", "") for one in form.select("input[name]")}

    sent = client.post(form["action"], data={**data, "machine": "M1", "place": "place 1"})

    page = read(client, sent.headers["Location"])
    asked = page.select_one("p.care:has(a[href*='/bench/work/'])")
    assert words(asked) == f"{first} was recorded here too: is it gone? Say where {first} is"
    assert asked.select_one("a")["href"] == f"/bench/work/{first}#rack"
    rack = read(client, "/rack")
    assert f"{first} was recorded here too" in words(rack.select_one(f"#tool-{second}"))
    assert f"{second} was recorded here too" in words(rack.select_one(f"#tool-{first}"))
    bench.post(f"/v1/assemblies/{first}/rack-places", machine="M1", place="place 2")
    assert "was recorded here too" not in words(read(client, "/rack"))


def test_tools_of_a_rack_stand_in_the_order_of_their_places(client, bench, store, shop):
    first, second = two_tools(client, bench, store, shop)
    bench.post(f"/v1/assemblies/{first}/rack-places", machine="M1", place="place 10")
    bench.post(f"/v1/assemblies/{second}/rack-places", machine="M1", place="place 2")

    rows = read(client, "/rack").select("#racks tbody tr")

    assert [row["id"] for row in rows] == [f"tool-{second}", f"tool-{first}"]
    assert "place\u00a02" in rows[0].get_text()  # never on two lines
    assert {"TH-2", "PG-1"} <= {words(one) for one in rows[0].select(".unbroken")}
