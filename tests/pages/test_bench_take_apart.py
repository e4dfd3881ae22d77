"""From a scanned code to the bench: each act leads to its page; taking apart asks first."""

from __future__ import annotations

import pytest

from tests.pages.reading import form_data, read, words


def acts(client, code: str) -> dict[str, str]:
    """The acts that a code's page leads to, by their addresses."""
    page = read(client, f"/C/{code}")
    return {words(one): one["href"] for one in page.select("main ul.touch a")}


def test_each_act_of_the_bench_leads_to_its_page(client, bench, shop):
    code = bench.ready()
    free, gauge = shop.codes["holders"]["TH-2"], shop.codes["gauges"]["PG-1"]

    assert acts(client, code) | {"Mount it in a station": ""} == {
        "Mount it in a station": "",
        "Print its label": f"/bench/work/{code}",
        "Measure it on the gauge": f"/bench/work/{code}",
        "Take it apart": f"/bench/take-apart/{code}",
    }
    assert acts(client, free) == {"Build a tool with it": f"/bench/build?holder={free}"}
    assert acts(client, gauge)["Check it on the setting master"] == "/bench/gauges/PG-1"
    for address in (*acts(client, code).values(), *acts(client, free).values()):
        assert client.get(address).status_code == 200


def test_the_question_says_what_becomes_of_the_edge_and_records_nothing(client, bench, rows):
    code = bench.ready()

    page = read(client, f"/bench/take-apart/{code}")

    assert "Its edge never cut, so it can be built again" in words(page)
    assert rows("teardowns") == 0


def test_taking_apart_has_cautions_and_a_key_of_its_own(client, bench):
    page = read(client, f"/bench/take-apart/{bench.ready()}")

    # common practice, no source
    said = words(page.select_one(".care"))
    for caution in ("Edges cut", "gloves", "eye protection", "hot", "Springs and clamps"):
        assert caution in said
    assert "holder maker's instructions" in said
    assert "Tighten" not in said
    (button,) = page.select("[data-key]")
    assert button["data-key"] == "F7"  # not the key that goes on everywhere else


def test_a_tool_taken_apart_frees_its_holder_and_says_so(client, bench, rows):
    code = bench.ready()
    form = read(client, f"/bench/take-apart/{code}").select_one("form[method=post]")

    answer = client.post(form["action"], data=form_data(form) | {"reason": ["wrong grade"]})

    assert answer.headers["Location"] == "/C/TH-1"
    assert "is free to build on" in words(read(client, "/C/TH-1"))
    assert rows("teardowns") == 1
    again = read(client, f"/bench/take-apart/{code}")
    assert "It is over already" in words(again)
    assert not again.select("form[method=post]")


def test_a_mounted_tool_is_not_taken_apart(client, bench, rows):
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)

    assert "It sits in M1/T01" in words(read(client, f"/bench/take-apart/{code}"))
    refused = client.post(f"/bench/take-apart/{code}", data={"reason": "why not"})

    assert refused.status_code == 409
    assert rows("teardowns") == 0


@pytest.mark.parametrize(("code", "status"), [("NOBODY", 404), ("A00001X", 404)])
def test_a_code_of_nothing_says_so(client, code, status):
    assert words(read(client, f"/bench/take-apart/{code}", status))
