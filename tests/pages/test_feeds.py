"""Feeds, questions and counts kept aside, as a supervisor reads and judges them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.acts.book_feed import (
    BreakageNews,
    CountNews,
    FeedNews,
    GapNews,
    StateNews,
    book_feed,
)
from tests.pages.reading import form_data, read, words


@pytest.fixture
def hear(store, shop, clock):
    def book(counts=(), states=(), **more: Any) -> None:
        def at(minutes):
            return shop.start + timedelta(minutes=minutes)

        news = FeedNews(
            "M1",
            "mtconnect",
            clock.at,
            [CountNews(at(minutes), str(count)) for minutes, count in counts],
            [StateNews(at(minutes), kind, "path1", text) for minutes, kind, text in states],
            **more,
        )
        with store.write() as tx:
            book_feed(tx, clock.at, news)

    return book


def as_person(client: FlaskClient, shop: Any, badge: str) -> None:
    client.set_cookie("crib_by", shop.codes["people"][badge])


def test_a_shop_that_hears_nothing_says_what_to_do(client):
    page = read(client, "/shift/feeds")

    assert "No machine has sent data yet" in words(page.main)
    assert "none waiting" in words(page.main)


def test_feeds_are_told_in_words(client, hear):
    hear([(60, 0), (110, 66)], [(100, "EXECUTION", "FEED_HOLD")])
    hear(gap=GapNews("overrun", 20, 55), state="waiting", problem="It does not answer.")

    row = words(read(client, "/shift/feeds").select_one(".feeds tbody tr"))

    assert "trying again soon read from its agent It does not answer." in row
    assert "10 min" in row
    assert "one gap" in row
    assert "the agent did not keep it long enough (from 20 to 55)" in row
    assert "feed hold since" in row


def test_a_data_feed_is_no_cutting_feed_in_german(client, hear):
    hear([(60, 0)])
    client.set_cookie("crib_shown", "de.mm.24")

    heads = [words(one) for one in read(client, "/shift/feeds").select("table.feeds th")]

    assert "Datenquelle" in heads
    assert "Vorschub" not in heads


def test_what_a_machine_says_otherwise_stands_on_its_page_and_on_the_feeds(
    client, hear, bench, shop
):
    code = bench.ready()
    assert "says otherwise" not in words(read(client, "/machines/M1").main)
    hear(states=[(119, "TOOL_NUMBER", "1"), (119, "TOOL_ASSET_ID", code)])

    machine, feeds = read(client, "/machines/M1"), read(client, "/shift/feeds")

    asked = machine.select_one("#asked")
    assert f"{code} in T01, but no tool is on record there" in words(asked)
    assert asked.a["href"] == f"/C/{shop.codes['stations']['M1/T01']}"
    assert code in words(feeds.select_one("#questions-h").parent)
    assert read(client, "/machines/M2").select_one("#asked section") is None


def test_a_supervisor_accepts_and_takes_back(client, hear, shop, rows):
    as_person(client, shop, "B3")
    hear([(1, 10), (2, 11), (3, 900)])
    page = read(client, "/shift/counts-aside")
    form = page.select_one("#count-1 form")
    assert "Machine M1, count 900" in words(page.select_one("#count-1 h3"))

    sent = form_data(form) | {"verdict": "accepted", "note": "seen"}
    answers = [client.post(form["action"], data=sent) for _ in range(2)]

    assert [one.status_code for one in answers] == [303, 303]  # the same form acts once
    page = read(client, "/shift/counts-aside")
    assert page.select_one("#count-1") is None
    assert "accepted by Sunniva Brask" in words(page.select_one(".aside"))
    assert ": seen" in words(page.select_one(".aside"))
    assert rows("count_readings") == 3
    back = page.select_one("form[action$=take-back]")
    assert client.post(back["action"], data=form_data(back)).status_code == 303
    assert read(client, "/shift/counts-aside").select_one("#count-1") is not None
    assert rows("count_readings") == 2


def test_a_question_is_dismissed_with_a_reason_and_asked_again(client, hear, bench, shop, rows):
    code = bench.ready()
    hear(states=[(119, "TOOL_NUMBER", "1"), (119, "TOOL_ASSET_ID", code)])
    page = read(client, "/shift/questions")
    assert "To dismiss a question, say who you are first." in words(page.main)
    form = page.select_one("#question-1 form")
    typed = form_data(form) | {"note": "<b>seen</b>"}
    nobody = client.post(form["action"], data=typed)
    assert nobody.status_code == 422
    assert b"Say who dismisses the question" in nobody.data
    assert b'value="&lt;b&gt;seen&lt;/b&gt;"' in nobody.data
    as_person(client, shop, "B2")
    form = read(client, "/shift/questions").select_one("#question-1 form")
    bare = client.post(form["action"], data=form_data(form))
    assert bare.status_code == 422
    assert b"Say why the question can be dismissed" in bare.data

    answer = client.post(form["action"], data=form_data(form) | {"note": "<b>seen</b>"})

    assert answer.status_code == 303
    page = read(client, "/shift/questions")
    assert page.select_one("#question-1") is None
    assert "Olek Varn" in words(page.select_one("#dismissed-h").parent)
    assert ": <b>seen</b>" in words(page.select_one("#dismissed-h").parent)
    assert read(client, "/machines/M1").select_one("#asked section") is None
    assert rows("question_dismissals") == 1
    back = page.select_one("form[action$=take-back]")
    assert client.post(back["action"], data=form_data(back)).status_code == 303
    assert read(client, "/shift/questions").select_one("#question-1") is not None


def test_a_breakage_of_nobody_knows_which_tool_is_answered_on_its_page(
    client, store, bench, shop, clock
):
    code = bench.ready()
    bench.post("/v1/mounts", 201, station="M1/T01", assembly=code)
    clock.go_on(minutes=10)
    for words_of_it in ("load", "laser"):
        broken = BreakageNews(clock.at - timedelta(minutes=1), "path1", 77, words_of_it)
        with store.write() as tx:
            book_feed(tx, clock.at, FeedNews("M1", "mqtt", clock.at, breakages=[broken]))
    as_person(client, shop, "B2")
    form = read(client, "/shift/questions").select_one("#question-1 form")
    bare = client.post(form["action"], data=form_data(form))
    assert bare.status_code == 422
    assert b"Say why the question can be dismissed" in bare.data

    none = client.post(form["action"], data=form_data(form) | {"note": "all are whole"})
    form = read(client, "/shift/questions").select_one("#question-1 form")
    (station,) = [one["value"] for one in form.select("option") if "M1/T01" in one.text]
    that = client.post(form["action"], data=form_data(form) | {"station": station})

    assert (none.status_code, that.status_code) == (303, 303)
    page = read(client, "/shift/questions")
    assert page.select_one("#question-1") is None
    assert "M1: load" in words(page.select_one("#dismissed-h").parent)
    assert client.get("/v1/breakages").get_json()["items"][0]["assembly"] == code


def test_nobody_else_judges_and_nothing_typed_is_lost(client, hear, shop, rows):
    as_person(client, shop, "B2")
    hear([(1, 10), (2, 11), (3, 900)])
    page = read(client, "/shift/counts-aside")
    assert "Only a supervisor decides on held counts." in words(page.main)
    form = page.select_one("#count-1 form")

    answer = client.post(
        form["action"], data=form_data(form) | {"verdict": "discarded", "note": "not so"}
    )

    assert answer.status_code == 403
    assert b"Olek Varn is operator here" in answer.data
    assert b'value="not so"' in answer.data
    assert rows("count_verdicts") == 0


def test_the_machine_page_tells_that_the_counter_is_set(client, hear, shop, rows, clock):
    hear([(1, 900)])
    as_person(client, shop, "B2")
    form = read(client, "/machines/M1").select_one("#counter form")

    wrong = client.post(form["action"], data=form_data(form) | {"count": "5x", "note": "why"})
    done = client.post(form["action"], data=form_data(form) | {"count": "500"})
    twice = client.post(form["action"], data=form_data(form) | {"count": "500"})

    assert wrong.status_code == 422
    assert b'value="5x"' in wrong.data
    assert b'value="why"' in wrong.data
    assert (done.status_code, twice.status_code, rows("count_verdicts")) == (303, 303, 1)
    fold = read(client, "/machines/M1").select_one("#counter")
    assert "Last count 900" in words(fold)
    assert "set to 500. No count shows it yet." in words(fold)
    aside = read(client, "/shift/counts-aside")
    assert "none waiting" in words(aside.main)
    back = aside.select_one("form[action$=take-back]")
    assert client.post(back["action"], data=form_data(back)).status_code == 303
    assert "No count shows it" not in words(read(client, "/machines/M1"))


def test_the_machine_page_asks_whose_counter_is_set_where_each_path_has_one(
    client, hear, shop, rows
):
    number = shop.ids["machines"]["M1"]
    known = {"If-Match": client.get(f"/v1/machines/{number}").headers["ETag"]}
    client.patch(f"/v1/machines/{number}", json={"path_counters": "1|2"}, headers=known)
    readings = [{"at": "2026-01-05T06:01:00Z", "count": 9, "path": 2}]
    client.post("/v1/counts", json={"machine": "M1", "readings": readings})
    as_person(client, shop, "B2")
    form = read(client, "/machines/M1").select_one("#counter form")

    missing = client.post(form["action"], data=form_data(form) | {"count": "500", "path": ""})
    done = client.post(form["action"], data=form_data(form) | {"count": "500", "path": "2"})

    assert missing.status_code == 409
    assert b"paths 1, 2" in missing.data
    assert (done.status_code, rows("count_verdicts")) == (303, 1)
    fold = read(client, "/machines/M1").select_one("#counter")
    assert "set to 500. No count shows it yet." in words(fold)
