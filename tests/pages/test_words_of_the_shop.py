"""What a shop calls its things stays so on every German page, whatever language it is in.

English words of ours that are its own, German ones, and what is no word at all.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from datetime import timedelta

import pytest

from api.language.catalogue import catalogue
from crib.acts.book_feed import BreakageNews, FeedNews, book_feed
from tests.pages.reading import parsed, words

#: Words of the sources, as English has them; German texts hold none of them.
ENGLISH = {
    "machines/M1": "inspection",
    "holders/DH-1": "finish",
    "gauges/PG-1": "trigon",
    "people/B2": "hexagonal",
    "tool-specs/TURN-OD": "octagonal",
    "cutting-items/CNMG-408": "pentagonal",
    "parts/PIN-8": "parallelogram",
    "holder-types/SQ12-CN": "rectangular",
    "people/B1": "rhombic",
}
OTHERS = {
    "holders/TH-2": "Halter Öl",
    "lots/LOT-I1": "Los übrig",
    "machines/M2": "Drehbank neben der Tür",
    "holders/TH-1": "2.5",  # as if it were a figure
    "lots/LOT-D1": "1.25 mm",
    "people/B3": "Xqv {tool}",
}
PLACE, NOTE, SIGNAL = "burr", "left {0} 7.5 % 2026-01-05T06:30:00Z", "no edge"
SHELF, WHY = "Regal oben", "chamfered"
NAMES = (*ENGLISH.values(), *OTHERS.values(), PLACE, NOTE, SIGNAL, SHELF, WHY)

#: Addresses that say nothing of a shop.
SAYS_NOTHING = ("/static/", "/help", "/problems", "/healthz", "/readyz", "/sw.js", "/live")


@pytest.fixture
def odd_shop(client, bench, shop, store, clock):
    """Values for the holes of addresses: of a shop in which everything is called by NAMES."""
    code = {"mounted": bench.ready("TH-1")}
    note = {"note": NOTE, "by": "B2"}
    at = "inspection/T01"

    def rename(path, values):
        tag = client.get(f"/v1/{path}").headers["ETag"]
        answer = client.patch(f"/v1/{path}", json=values, headers={"If-Match": tag})
        assert answer.status_code == 200, answer.text

    rename("holders/TH-2", {"location": SHELF})
    codes = {
        name: client.get(f"/v1/{name}").get_json()["code"]
        for name in ("holders/TH-1", "lots/LOT-I1", "gauges/PG-1", "people/B1")
    }
    for path, name in (ENGLISH | OTHERS).items():
        column = path.split("/")[0].removesuffix("s").replace("-", "_")
        rename(path, {"name" if column == "people" else column: name})
    mount = bench.post("/v1/mounts", station=at, assembly=code["mounted"], **note)
    clock.go_on(minutes=10)
    step = bench.post(
        "/v1/corrections", station=at, axis="X", change_mm="-0.01", kind="size", **note
    )
    code |= _measured(bench)
    bench.post(
        f"/v1/assemblies/{code['racked']}/rack-places", machine="inspection", place=PLACE
    )
    _count(client, bench, clock, shop)
    _breakages(store, bench, client, clock)
    drill = bench.post(
        "/v1/assemblies", tool_spec="CROSS-3", holder="finish", lot="1.25 mm", by="B1"
    )
    clock.go_on(minutes=5)
    removal = bench.post("/v1/removals", station=at, reason="size", **note)
    bench.post("/v1/reversals", fact=removal["fact"], by="B2", note=NOTE)
    run = client.get("/v1/runs").get_json()["items"][0]["id"]
    station = shop.codes["stations"]["M1/T01"]
    return {
        "text": [*code.values(), *codes.values(), station, drill["code"]],
        "code": [*code.values(), drill["code"], station],
        "mark": ["trigon"],
        "key": client.get("/v1/life").get_json()["items"],
        "machine": ["inspection"],
        "facts": [str(removal["fact"])],
        "corrections": [str(step["fact"])],
        "mounts": [str(mount["fact"])],
        "removals": [str(removal["fact"])],
        "run": [str(run)],
        "slug": ["tool-life"],
        "kind": [],
        "asked": [f"station={station}&tool={one}" for one in code.values()],
    }


def _measured(bench):
    """A tool on the rack, and one that was measured and not accepted, with its sister."""
    racked = bench.build("Halter Öl", tool_spec="octagonal", lot="Los übrig")["code"]
    readings = [{"lf_mm": "80.001", "wf_mm": "16.0102", "re_mm": "0.8"}] * 3
    told = {"gauge": "trigon", "readings": readings, "by": "B1"}
    preset = bench.post(f"/v1/assemblies/{racked}/presets", **told)
    return {"racked": preset["assembly"]}


def _count(client, bench, clock, shop):
    """Counts that are kept aside, one of them judged with a note."""
    ahead = [clock() + timedelta(days=days) for days in (2, 3)]
    readings = [{"at": at.isoformat(), "count": 5} for at in ahead]
    client.post("/v1/counts", json={"machine": "inspection", "readings": readings})
    aside = client.get("/v1/refused-counts").get_json()["items"][0]
    bench.post(
        "/v1/count-verdicts", refusal=aside["id"], verdict="discarded", by="B3", note=WHY
    )


def _breakages(store, bench, client, clock):
    """Two breakages of nobody knows which tool, one of them answered with a note."""
    with store.write() as tx:
        for signal in (SIGNAL, f"{SIGNAL}!"):
            broken = [BreakageNews(clock(), "path1", 77, signal, None)]
            book_feed(tx, clock(), FeedNews("inspection", "mqtt", clock(), breakages=broken))
    question = client.get("/v1/questions").get_json()["items"][0]["number"]
    bench.post("/v1/question-dismissals", question=question, by="B2", note=NOTE)


def addresses(client, values):
    """Every address of a page that says something of the shop, its holes filled."""
    found = []
    for rule in client.application.url_map.iter_rules():
        path = rule.rule
        if "GET" not in rule.methods or path.startswith(("/v1/", *SAYS_NOTHING)):
            continue
        filled = [path]
        for hole in re.findall(r"<[^>]+>", path):
            name = hole.strip("<>").split(":")[-1]
            of = next(
                (kind for kind in ("corrections", "mounts", "removals") if kind in path), ""
            )
            chosen = values[of if name in ("fact", "facts") and of else name]
            filled = [one.replace(hole, value) for one in filled for value in chosen]
        if re.search(r"/(mount|remove|correct|scan)$", path):
            filled = [f"{one}?{asked}" for one in filled for asked in values["asked"]]
        found += filled
    return found


def shown(client, path, language):
    """What a page or a piece of data says, and what its fields hold."""
    client.set_cookie("crib_shown", f"{language}.mm.24")
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code in {200, 404, 409, 422}, (path, answer.text)
    if answer.mimetype == "application/json":
        return _told(json.loads(answer.text))
    if answer.mimetype != "text/html":
        return ""
    assert f'<html lang="{language}"' in answer.text
    page = parsed(answer.text)
    fields = " ".join(str(one["value"]) for one in page.select("input[value], option[value]"))
    return f"{words(page.body)} {fields}"


def _told(value):
    """Every text of an answer; parts of pages in it as what they say."""
    if isinstance(value, dict):
        return " ".join(map(_told, value.values()))
    if isinstance(value, list):
        return " ".join(map(_told, value))
    return words(parsed(str(value)))


def named(text):
    """How often a text has each of the shop's names, as a word by itself."""
    return Counter(
        {name: len(re.findall(rf"(?<!\w){re.escape(name)}(?!\w)", text)) for name in NAMES}
    )


def test_the_names_are_words_that_the_catalogue_knows():
    texts = catalogue("de").texts

    assert all(texts[name] != name for name in (*ENGLISH.values(), PLACE, WHY))


def test_no_german_page_translates_what_the_shop_calls_its_things(client, odd_shop):
    seen, lost, translated = Counter(), {}, 0
    for path in addresses(client, odd_shop):
        english, german = shown(client, path, "en"), shown(client, path, "de")
        told, kept = named(english), named(german)
        if kept != told:
            lost[path] = (told - kept, kept - told)
        seen += kept
        translated += english != german

    assert lost == {}
    assert [name for name in NAMES if not seen[name]] == []
    assert translated > 40


def test_a_refusal_on_a_german_page_keeps_the_shop_s_names(client, odd_shop):
    client.set_cookie("crib_shown", "de.mm.24")
    entries = {"tool_spec": "octagonal", "holder": "Halter Öl", "lot": "Los übrig"}
    page = client.post("/bench/build", data=entries)

    assert "Halter Halter Öl" in page.text


def test_what_is_answered_to_a_script_keeps_the_shop_s_names(client, odd_shop):
    body = {"station": "inspection/T01", "assembly": "Halter Öl", "by": "B1"}
    script = {"Accept": "*/*", "Accept-Language": "de"}
    told = client.post("/v1/mounts", json=body, headers=script).get_json()

    assert told["said"] != told["detail"]
    assert named(told["said"]) == named(told["detail"])
    assert named(told["said"])["inspection"] > 0
