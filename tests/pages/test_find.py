"""A search from every page leads to any code, mark, tool, part, machine or person."""

from __future__ import annotations

import re

import pytest

from crib.views.find_names import find_names
from tests.pages.reading import read, words


def groups(page):
    """What was found: by heading, the name, the words and the address of each."""
    return {
        words(one): [
            (words(row.select_one("a") or row), words(row), (row.a or {}).get("href"))
            for row in one.find_next("ul").select("li")
        ]
        for one in page.select("main h2")
    }


def search(client, text):
    return groups(read(client, f"/find?q={text}"))


@pytest.mark.parametrize(
    "address", ["/bench", "/machines", "/shift", "/lives", "/help", "/v1/docs"]
)
def test_the_field_stands_in_the_header_of_a_page(client, shop, address):
    form = read(client, address).select_one("header form[role=search]")

    assert (form["action"], form.select_one("input")["name"]) == ("/find", "q")
    assert form.has_attr("popover")  # folded on a phone, and unfolded without a script
    assert form.parent.select_one("button")["popovertarget"] == form["id"]


def test_a_whole_code_leads_to_its_page_at_once(client, shop, bench):
    codes = [bench.ready(), *(next(iter(one.values())) for one in shop.codes.values())]
    for code in codes:
        for text in (code, code.lower(), f" {code} ", f"http://crib.example/C/{code}"):
            answer = client.get("/find", query_string={"q": text})
            assert (answer.status_code, answer.headers["Location"].upper()) == (
                303,
                f"/C/{code}",
            )


def test_a_mistyped_code_is_told_as_such(client, shop):
    right = next(iter(shop.codes["holders"].values()))
    wrong = right[:-1] + ("A" if right[-1] != "A" else "B")
    page = read(client, f"/find?q={wrong}", 404)

    assert "mistyped" in words(page).lower() or "check" in words(page).lower()


def test_parts_of_names_find_things_of_every_kind(client, shop, bench):
    tool = bench.ready()
    found = {
        kind: {address for rows in [search(client, text)[kind]] for _, _, address in rows}
        for kind, text in {
            "Machines": "m1",
            "Stations": "m1/t",
            "Tools": tool[:-1],
            "Tool specs": shop.names["tool_specs"][0][:4],
            "Holders": shop.names["holders"][0][:2],
            "Lots": shop.names["lots"][0][:2],
            "Gauges": shop.names["gauges"][0][:2],
            "People": "quill",
        }.items()
    }

    assert "/machines/M1" in found["Machines"]
    assert f"/machines/M1/stations/{shop.codes['stations']['M1/T01']}" in found["Stations"]
    assert f"/C/{tool}" in found["Tools"]
    assert f"/C/{shop.codes['holders'][shop.names['holders'][0]]}" in found["Holders"]
    assert f"/C/{shop.codes['lots'][shop.names['lots'][0]]}" in found["Lots"]
    assert f"/C/{shop.codes['gauges'][shop.names['gauges'][0]]}" in found["Gauges"]
    assert found["People"] == {f"/C/{shop.codes['people']['B1']}"}
    for addresses in found.values():
        for address in addresses:
            assert client.get(address).status_code == 200, address


def test_a_part_leads_to_the_machine_of_its_job(client, shop):
    [part] = shop.names["parts"]
    [(name, told, address)] = search(client, part[:4])["Parts"]

    assert name == part
    assert address == "/machines/M1"
    assert "M1" in told


def test_what_is_called_just_so_comes_before_what_only_holds_the_words(client, shop):
    first = [rows[0][0] for rows in search(client, "T01").values()]
    assert any(one.endswith("T01") for one in first)
    [*names] = [name for name, _, _ in search(client, "m2")["Machines"]]
    assert names[0] == "M2"


def test_what_is_out_of_use_is_not_found(client, shop):
    holder = shop.names["holders"][0]
    code = shop.codes["holders"][holder]
    answer = client.get(f"/v1/holders/{code}")
    gone = client.delete(f"/v1/holders/{code}", headers={"If-Match": answer.headers["ETag"]})
    assert gone.status_code == 204, gone.get_data(as_text=True)

    rows = search(client, holder[:2]).get("Holders", [])
    assert f"/C/{code}" not in {address for _, _, address in rows}


def test_what_fits_nothing_says_what_to_do(client, shop):
    page = read(client, "/find?q=no-such-thing")

    assert "Nothing in use fits. Try fewer letters" in words(page.main)
    assert page.select_one("main input[name=q]")["value"] == "no-such-thing"


def test_a_search_without_words_asks_for_some(client, shop):
    for address in ("/find", "/find?q=", "/find?q=%20", "/C?code="):
        page = read(client, address)
        assert words(page.h1) == "What are you looking for?"
        assert page.select_one("main input[name=q]").has_attr("autofocus")


def test_more_than_are_listed_are_counted(client, shop, store):
    with store.read() as tx:
        [hits] = find_names(tx, "m1/t", most=2)

    assert (len(hits.rows), hits.total) == (2, 3)


@pytest.mark.parametrize("text", ["%", "_", "'", '"><b>', "\u00e4" * 300, "%00"])
def test_signs_are_looked_for_as_they_are(client, shop, text):
    page = read(client, f"/find?q={text}")

    assert not re.search("<b>", str(page.h1))
    assert not groups(page)
