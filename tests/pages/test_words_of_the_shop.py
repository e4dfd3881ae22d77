"""What a shop calls its things stays so on a German page, also where English has the word."""

from __future__ import annotations

import re

import pytest

from api.language.catalogue import catalogue
from tests.pages.reading import parsed, words

#: Names of the shop that are words of the sources too; German texts hold none of them.
NAMES = ("finish", "burr", "inspection")


@pytest.fixture
def odd_shop(client, bench, clock):
    """A shop whose holder, rack place and machine are called by such words; the tool's code."""

    def rename(path, **values):
        tag = client.get(path).headers["ETag"]
        answer = client.patch(path, json=values, headers={"If-Match": tag})
        assert answer.status_code == 200, answer.text

    rename("/v1/holders/TH-1", holder="finish")
    rename("/v1/machines/M1", machine="inspection")
    bench.post(
        "/v1/mounts", station="inspection/T01", assembly=bench.ready("TH-2"), note="burr"
    )
    clock.go_on(minutes=10)
    code = bench.measure(bench.build("finish")["code"])["assembly"]
    bench.post(f"/v1/assemblies/{code}/rack-places", machine="inspection", place="burr")
    return code


def shown(client, path, language):
    client.set_cookie("crib_shown", f"{language}.mm.24")
    answer = client.get(path)
    assert f'<html lang="{language}"' in answer.text
    assert answer.status_code in {200, 409}, (path, answer.status_code)

    return words(parsed(answer.text).body)


def test_the_names_are_words_that_the_catalogue_knows():
    texts = catalogue("de").texts

    assert all(texts[name] != name for name in NAMES)


def test_no_german_page_translates_what_the_shop_calls_its_things(client, odd_shop):
    seen = set()
    for path in (
        "/C/finish", f"/C/{odd_shop}", "/rack", "/bench", f"/bench/work/{odd_shop}", "/shift",
        "/machines/inspection", "/shift/blocked", "/shift/feeds",
        "/shift/questions", "/bench/build", "/bench/build?holder=finish&lot=LOT-I1",
    ):  # fmt: skip
        english, german = shown(client, path, "en"), shown(client, path, "de")
        for name in NAMES:
            told = re.findall(rf"\b{name}\b", english)
            assert len(re.findall(rf"\b{name}\b", german)) == len(told), (path, name, german)
            seen.update(told)

    assert seen == set(NAMES)


def test_a_refusal_on_a_german_page_keeps_the_shop_s_names(client, odd_shop):
    client.set_cookie("crib_shown", "de.mm.24")
    page = client.post(
        "/bench/build", data={"tool_spec": "TURN-OD", "holder": "finish", "lot": "LOT-I1"}
    )

    assert "Halter finish" in page.text
    assert "Oberfläche" not in page.text
