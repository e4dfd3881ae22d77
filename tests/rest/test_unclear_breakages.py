"""A breakage of nobody knows which tool stays asked about until a person answers."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.acts.book_feed import BreakageNews, CountNews, FeedNews, book_feed
from crib.store.checking import check
from crib.store.engine import Store


@pytest.fixture
def told(store: Store, shop: SimpleNamespace, clock: Any) -> Any:
    """M1 tells a breakage that fits no station, and then goes on making parts."""

    def tell(tool_number: int | None = 77, minute: float = 60) -> None:
        at = shop.start + timedelta(minutes=minute)
        broken = BreakageNews(at, "path1", tool_number, "spindle load", None)
        if tool_number is None:
            broken = BreakageNews(at, "path1", None, "spindle load", "It names no tool.")
        counts = [CountNews(at + timedelta(minutes=n), str(n)) for n in range(1, 4)]
        with store.write() as tx:
            book_feed(tx, clock.at, FeedNews("M1", "mqtt", clock.at, breakages=[broken]))
            book_feed(tx, clock.at, FeedNews("M1", "mqtt", clock.at, counts))

    return tell


def asked(client: FlaskClient) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("/v1/questions?machine=M1").get_json()["items"]
    return found


@pytest.mark.parametrize(("number", "why"), [(77, "no station for"), (None, "names no tool")])
def test_it_is_asked_about_and_stands_before_every_swap(
    client: FlaskClient, told: Any, number: int | None, why: str
) -> None:
    told(number)
    told(number)

    (question,) = asked(client)
    swaps = client.get("/v1/swap-list").get_json()
    sheet = client.get("/v1/shift-sheet.pdf")

    assert (question["kind"], question["station"], question["says"]) == (
        "breakage",
        None,
        "spindle load",
    )
    assert why in question["sentence"]
    assert swaps["breakages"] == [question]
    assert client.get("/v1/swap-list?machine=M2").get_json()["breakages"] == []
    assert sheet.status_code == 200
    for page in ("/shift", "/shift/feeds", "/shift/questions", "/machines/M1"):
        assert "Look at the machine, then say which tool broke" in client.get(page).text


def test_that_none_broke_answers_it_until_it_is_taken_back(
    client: FlaskClient, store: Store, told: Any, bench: SimpleNamespace
) -> None:
    told()
    (question,) = asked(client)
    given = {"question": question["number"], "by": "B2", "note": "All tools are whole."}
    done = bench.post("/v1/question-dismissals", 201, **given)
    told()  # the same again

    assert asked(client) == []
    (listed,) = client.get("/v1/question-dismissals").get_json()["items"]
    assert (listed["station"], listed["tool_number"]) == ("M1", 77)
    assert client.get(f"/v1/question-dismissals/{done['fact']}").status_code == 200
    bench.post("/v1/question-dismissals", 409, **given)
    assert "No tool of machine M1" not in client.get("/shift/questions").text
    bench.post("/v1/reversals", 201, fact=done["fact"], by="B2")
    assert [one["number"] for one in asked(client)] == [question["number"]]
    assert check(store) == []


def test_the_tool_that_broke_answers_it_until_that_is_taken_back(
    client: FlaskClient, store: Store, told: Any, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    bench.post("/v1/mounts", 201, station="M1/T01", assembly=code)
    clock.go_on(minutes=10)
    told(minute=125)
    (question,) = asked(client)
    answer = {
        "station": "M1/T01",
        "signal": question["says"],
        "at": question["since"],
        "question": question["number"],
    }
    done = bench.post("/v1/breakages", 201, **answer)

    assert (done["assembly"], asked(client)) == (code, [])
    bench.post("/v1/breakages", 409, **answer)
    bench.post("/v1/reversals", 201, fact=done["fact"])
    assert [one["number"] for one in asked(client)] == [question["number"]]
    assert check(store) == []


def test_a_question_is_named_by_its_number_or_by_station_and_words(
    bench: SimpleNamespace,
) -> None:
    bench.post("/v1/question-dismissals", 409, by="B2", note="x", station="M1/T01")
    bench.post("/v1/question-dismissals", 409, by="B2", note="x", question=5)
