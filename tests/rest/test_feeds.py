"""Feeds over HTTP: what is heard of machines, what was missed, what is asked."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.acts.book_feed import CountNews, FeedNews, GapNews, StateNews, book_feed
from crib.clock import print_instant
from crib.store.engine import Store


@pytest.fixture
def hear(store: Store, shop: SimpleNamespace, clock: Any) -> Any:
    """Book what a machine says: counts and states as (minute, text)."""

    def book(
        counts: list[tuple[float, int]] = [],  # noqa: B006 - never changed
        states: list[tuple[float, str, str | None]] = [],  # noqa: B006
        **more: Any,
    ) -> None:
        def at(minutes: float) -> datetime:
            return shop.start + timedelta(minutes=minutes)

        news = FeedNews(
            "M1",
            "mtconnect",
            clock.at,
            [CountNews(at(minutes), str(count)) for minutes, count in counts],
            [StateNews(at(m), kind, "path1", text) for m, kind, text in states],
            **more,
        )
        with store.write() as tx:
            book_feed(tx, clock.at, news)

    return book


def items(client: FlaskClient, path: str) -> list[dict[str, Any]]:
    answer = client.get(path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: list[dict[str, Any]] = answer.get_json()["items"]
    return found


def named(minute: float, number: int, asset: str) -> list[tuple[float, str, str]]:
    return [(minute, "TOOL_NUMBER", str(number)), (minute, "TOOL_ASSET_ID", asset)]


def test_a_feed_tells_when_it_was_heard_how_late_and_what_was_missed(
    client: FlaskClient, hear: Any, clock: Any
) -> None:
    assert items(client, "/v1/feeds") == []
    hear([(60, 0), (119, 118)], [(90, "EXECUTION", "ACTIVE")], place=(7, 55))
    hear(gap=GapNews("restarted"))
    hear(gap=GapNews("overrun", 20, 55))

    (feed,) = items(client, "/v1/feeds")

    assert (feed["machine"], feed["source"], feed["state"]) == ("M1", "mtconnect", "following")
    assert (feed["lag_s"], feed["gaps"], feed["parts_last_hour"]) == (60.0, 2, 118)
    assert feed["last_gap"]["reason"] == "overrun"
    assert [one["kind"] for one in feed["says"]] == ["EXECUTION"]
    gaps = items(client, "/v1/feed-gaps")
    assert [(one["reason"], one["from_sequence"]) for one in gaps] == [
        ("overrun", 20),
        ("restarted", None),
    ]
    clock.go_on(hours=25)
    assert items(client, "/v1/feed-gaps") == []
    assert items(client, "/v1/feeds")[0]["gaps"] == 0


def test_a_feed_that_stopped_says_why(client: FlaskClient, hear: Any) -> None:
    hear(state="stopped", problem="It tells no part count.")

    (feed,) = items(client, "/v1/feeds?machine=m1")

    assert (feed["state"], feed["problem"]) == ("stopped", "It tells no part count.")
    assert items(client, "/v1/feeds?machine=M2") == []
    assert client.get("/v1/feeds?machine=M9").status_code == 404


def test_a_machine_whose_counts_are_posted_is_heard_too(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    reading = {"at": clock.at.isoformat(), "count": 5}
    bench.post("/v1/counts", 202, machine="M2", readings=[reading])

    (feed,) = items(client, "/v1/feeds")

    assert (feed["machine"], feed["source"], feed["heard_at"]) == (
        "M2",
        "http",
        feed["counted_at"],
    )


def test_a_real_cycle_time_that_differs_from_the_record_is_told(
    client: FlaskClient, hear: Any
) -> None:
    # 60 s a part where the record says 45 s; a rest of 20 minutes is no part of it
    counts = [(minute, minute) for minute in range(60)]
    counts += [(minute + 20, minute) for minute in range(60, 90)]
    states = [
        (0, "EXECUTION", "ACTIVE"),
        (60, "EXECUTION", "INTERRUPTED"),
        (80, "EXECUTION", "ACTIVE"),
    ]
    hear(counts, states)

    cycle = items(client, "/v1/feeds")[0]["cycle"]

    assert cycle["part"] == "PIN-8"
    assert cycle["cycle_s"] == 45.0
    assert cycle["median_s"] == pytest.approx(60.0)
    assert cycle["differs_share"] == pytest.approx(60 / 45 - 1)
    assert "takes 60.0 s, its record says 45.0 s" in cycle["difference"]
    assert cycle["cutting_share"] == pytest.approx(1 - 20 / 120)
    assert [one["value"] for one in cycle["rests"]] == ["INTERRUPTED"]


def test_a_machine_that_keeps_its_cycle_time_raises_no_word(
    client: FlaskClient, hear: Any
) -> None:
    hear([(second / 60, second // 46) for second in range(0, 6_000, 60)])

    cycle = items(client, "/v1/feeds")[0]["cycle"]

    assert cycle["median_s"] == pytest.approx(46, rel=0.05)
    assert cycle["difference"] is None


def test_a_tool_of_ours_that_is_not_on_record_there_is_asked_about(
    client: FlaskClient, hear: Any, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    hear(states=named(119, 1, code))

    (question,) = items(client, "/v1/questions")

    assert (question["kind"], question["station"], question["says"]) == (
        "other_tool",
        "M1/T01",
        code,
    )
    assert "no tool is on record there: scan it, or say what is right." in question["sentence"]
    assert client.get("/v1/mounts").get_json()["items"] == []  # asked, never invented
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    assert items(client, "/v1/questions") == []


def test_a_tool_that_is_named_without_its_number_is_asked_about_at_once(
    client: FlaskClient, hear: Any, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    hear(states=[(60, "TOOL_NUMBER", "1")])
    hear(states=[(119, "TOOL_ASSET_ID", code)])

    (question,) = items(client, "/v1/questions")
    assert (question["station"], question["says"]) == ("M1/T01", code)
    bench.post("/v1/mounts", 201, station="M1/T01", assembly=code)
    assert items(client, "/v1/questions") == []
    # the number follows: the tool is of that one
    hear(states=[(119.05, "TOOL_NUMBER", "11"), (119.05, "TOOL_ASSET_ID", code)])
    (question,) = items(client, "/v1/questions")
    assert question["station"] == "M1/T11"


def test_gaps_of_one_machine_are_asked_for(client: FlaskClient, hear: Any) -> None:
    hear(gap=GapNews("restarted"))

    assert [one["machine"] for one in items(client, "/v1/feed-gaps?machine=m1")] == ["M1"]
    assert items(client, "/v1/feed-gaps?machine=M2") == []
    assert client.get("/v1/feed-gaps?machine=M9").status_code == 404


def test_another_tool_on_record_is_named_in_the_question(
    client: FlaskClient, hear: Any, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    sister = bench.measure(bench.build("TH-2")["code"])["assembly"]
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(minutes=10)
    hear(states=named(125, 1, sister))

    (question,) = items(client, "/v1/questions?machine=M1")

    assert question["on_record"] == code
    assert f"but {code} is on record: scan it, or say what is right." in question["sentence"]
    hear(states=named(126, 1, code))
    assert items(client, "/v1/questions") == []


def test_a_tool_change_that_nobody_scanned_is_asked_about_after_half_an_hour(
    client: FlaskClient, hear: Any, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(hours=2)
    hear(states=named(200, 1, "FIRST"))
    hear(states=named(239, 1, "SECOND"))
    assert items(client, "/v1/questions") == []

    clock.go_on(minutes=30)

    (question,) = items(client, "/v1/questions")
    assert (question["kind"], question["says"]) == ("not_scanned", "SECOND")
    assert f"{code} is still on record" in question["sentence"]


def test_a_dismissed_question_comes_back_for_a_new_sighting_alone(
    client: FlaskClient, hear: Any, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    sister = bench.measure(bench.build("TH-2")["code"])["assembly"]
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(minutes=10)
    hear(states=named(125, 1, sister))
    (question,) = items(client, "/v1/questions")
    body = {"station": question["station"], "says": question["says"], "by": "B2"}
    assert client.post("/v1/question-dismissals", json=body).status_code == 422
    assert client.post("/v1/question-dismissals", json=body | {"note": " "}).status_code == 422

    done = bench.post("/v1/question-dismissals", **body, note="chip of TH-1 is worn")

    assert items(client, "/v1/questions") == []
    again = client.post("/v1/question-dismissals", json=body | {"note": "twice"})
    assert again.status_code == 409
    clock.go_on(minutes=10)
    hear(states=named(135, 1, sister))  # named on and on: the same sighting
    assert items(client, "/v1/questions") == []
    (listed,) = items(client, "/v1/question-dismissals?machine=M1")
    assert (listed["says"], listed["by"], listed["note"]) == (
        sister,
        "B2",
        "chip of TH-1 is worn",
    )

    hear(states=named(136, 1, code))
    hear(states=named(138, 1, sister))  # another one was there in between
    (anew,) = items(client, "/v1/questions")
    assert anew["since"] > question["since"]
    bench.post("/v1/question-dismissals", **body, note="once more")
    assert items(client, "/v1/questions") == []
    bench.post("/v1/removals", station="M1/T01", reason="job_change")
    clock.go_on(minutes=10)
    hear(states=named(149, 1, sister))  # the records say something else than before
    assert [one["on_record"] for one in items(client, "/v1/questions")] == [None]
    assert done["fact"] == listed["fact"]


def test_a_dismissal_that_is_taken_back_asks_again(
    client: FlaskClient, hear: Any, bench: SimpleNamespace
) -> None:
    code = bench.ready()
    hear(states=named(119, 1, code))
    done = bench.post(
        "/v1/question-dismissals", station="M1/T01", says=code, by="B2", note="looked"
    )
    assert items(client, "/v1/questions") == []

    reversal = bench.post("/v1/reversals", fact=done["fact"])

    assert "M1/T01 is asked again" in reversal["sentence"]
    assert [one["says"] for one in items(client, "/v1/questions")] == [code]
    assert items(client, "/v1/question-dismissals")[0]["reversed"] is True


def test_a_supervisor_accepts_a_count_that_was_kept_aside(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    readings = [
        {"at": (clock.at - timedelta(minutes=back)).isoformat(), "count": count}
        for back, count in ((3, 10), (2, 11), (1, 900))
    ]
    bench.post("/v1/counts", 202, machine="M1", readings=readings)
    (aside,) = items(client, "/v1/refused-counts?open=true")
    assert aside["verdict"] is None

    refused = client.post(
        "/v1/count-verdicts", json={"refusal": aside["id"], "verdict": "accepted", "by": "B2"}
    )
    done = bench.post(
        "/v1/count-verdicts", refusal=aside["id"], verdict="accepted", by="B3", note="seen"
    )

    assert refused.status_code == 403
    assert (done["total"], done["verdict"]) == (900, "accepted")
    assert items(client, "/v1/refused-counts?open=true") == []
    (aside,) = items(client, "/v1/refused-counts")
    assert (aside["verdict"], aside["judged_by"]) == ("accepted", "B3")
    (listed,) = items(client, "/v1/count-verdicts?machine=M1")
    assert (listed["verdict"], listed["note"], listed["by"]) == ("accepted", "seen", "B3")
    bench.post("/v1/reversals", fact=done["fact"])
    assert len(items(client, "/v1/refused-counts?open=true")) == 1


def test_a_breakage_signal_is_a_fact(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(minutes=10)

    done = bench.post("/v1/breakages", machine="M1", tool_number=1, signal="load")
    again = bench.post("/v1/breakages", 200, station="M1/T01", signal="load")

    assert (done["assembly"], again["fact"]) == (code, None)
    asset = client.get(f"/v1/mtconnect/assets/{code}").get_data(as_text=True)
    assert "<Status>BROKEN</Status>" in asset
    (forecast,) = items(client, "/v1/forecasts")
    assert (forecast["why"], forecast["fail_probability"]["shift"]) == ("broken", 1.0)
    assert forecast["parts_left"]["p90"] == 0
    assert "A breakage was signalled at" in forecast["why_sentence"]
    listed = items(client, "/v1/swap-list?hours=72")
    swaps = [one for one in listed if one["station"] == forecast["station"]]
    assert (swaps[0]["why"], swaps[0]["swap_by"]) == ("broken", forecast["swap_by"])
    assert [one["why"] for one in swaps[1:]].count("broken") == 0
    (listed,) = items(client, "/v1/breakages?machine=M1")
    assert (listed["assembly"], listed["signal"]) == (code, "load")
    bench.post("/v1/reversals", fact=done["fact"])
    assert items(client, "/v1/breakages")[0]["reversed"] is True
    assert items(client, "/v1/forecasts")[0]["why"] != "broken"


def test_a_counter_setting_is_told_beforehand_once_and_taken_back(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    def count(number: int) -> None:
        clock.go_on(minutes=1)
        reading = {"at": print_instant(clock.at), "count": number}
        bench.post("/v1/counts", 202, machine="M1", readings=[reading])

    count(900)
    ahead = print_instant(clock.at + timedelta(seconds=30))
    body = {"machine": "M1", "count": 500, "at": ahead, "by": "B2"}

    done = bench.post("/v1/counter-settings", **body)
    again = bench.post("/v1/counter-settings", 200, **body)

    assert (done["shown"], done["set_at"], again["fact"]) == (False, ahead, done["fact"])
    assert items(client, "/v1/refused-counts?open=true") == []
    count(501)
    assert items(client, "/v1/refused-counts?open=true") == []
    (listed,) = items(client, "/v1/count-verdicts?machine=M1")
    assert (listed["verdict"], listed["by"]) == ("counter_set", "B2")
    bench.post("/v1/reversals", fact=done["fact"])
    assert items(client, "/v1/count-verdicts?machine=M1")[0]["reversed"]
    nobody = client.post("/v1/counter-settings", json={"machine": "M1", "count": 1})
    path = client.post("/v1/counter-settings", json=body | {"path": 2})
    assert (nobody.status_code, path.status_code) == (422, 409)
