"""A night in progress, with counts as planned: its own begin and end, and a stop that stays."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

CYCLE_S = 45
BEGIN = datetime.fromisoformat("2026-01-05T21:00:00+00:00")
#: What its answers say while it lasts.
NOBODY = "Nobody is there until 2026-01-06T05:00:00Z."


@pytest.fixture
def running(client, bench, clock):
    """Lets M1 cut evenly up to an instant, counts told every quarter of an hour or not."""
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    begin = clock()

    def run_until(at, told=True):
        while clock() < at:
            clock.go_on(minutes=15)
            if not told:
                continue
            count = int((clock() - begin).total_seconds() / CYCLE_S)
            reading = {"at": clock().isoformat(), "count": count}
            bench.post("/v1/counts", 202, machine="M1", readings=[reading])
        return client.get("/v1/forecasts?machine=M1").get_json()["nights"][0]

    return run_until


def stop_of(night):
    return datetime.fromisoformat(night["run_until"])


def limit(store, percent):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE machines SET night_limit_percent = ?", (percent,))


def test_the_advised_stop_is_the_same_whatever_minute_it_is(store, running, clock):
    limit(store, 40)
    before = running(BEGIN - timedelta(minutes=30))
    stop = stop_of(before)
    assert before["answer"] == "until"
    assert timedelta(hours=1) < stop - BEGIN < timedelta(hours=7)

    at = BEGIN
    while at < stop - timedelta(minutes=15):
        night = running(at)
        assert night["begins_at"] == before["begins_at"]
        assert night["ends_at"] == before["ends_at"]
        assert night["answer"] == "until"
        assert abs(stop_of(night) - stop) < timedelta(minutes=5)
        at += timedelta(minutes=15)
    night = running(stop + timedelta(minutes=20))
    assert night["answer"] == "stand"
    reached = reached_at(night)
    # by then it has outlived a risk of 40 %, from which its key learns a little
    assert abs(reached - stop) < timedelta(minutes=10)
    assert [one["kind"] for one in night["options"]] == ["run", "stand"]


def reached_at(night):
    """When the limit of a night was reached, as its answer says it."""
    before, after = "Your limit was reached ", f". {NOBODY}"
    said = night["answer_sentence"]
    assert said.startswith(before)
    assert said.endswith(after)
    return datetime.fromisoformat(said.removeprefix(before).removesuffix(after))


def test_a_machine_that_tells_no_counts_at_night_is_taken_to_run_as_planned(store, running):
    limit(store, 40)
    stop = stop_of(running(BEGIN))

    for hours in (0.5, 1.0, 2.0):
        night = running(BEGIN + timedelta(hours=hours), told=False)
        assert night["answer"] == "until"
        assert abs(stop_of(night) - stop) < timedelta(minutes=5)
    night = running(BEGIN + timedelta(hours=4), told=False)
    assert night["answer"] == "stand"
    reached = reached_at(night)
    assert abs(reached - stop) < timedelta(minutes=5)


def test_what_is_over_of_the_night_is_told(store, running):
    limit(store, 40)
    night = running(BEGIN)
    assert "Risk so far" not in night["reason_sentence"]

    night = running(BEGIN + timedelta(hours=1))
    so_far = night["fail_probability_so_far"]
    told = f"Risk so far, since 2026-01-05T21:00:00Z: {100 * so_far:.0f} %."
    assert told in night["reason_sentence"]
    assert 0.1 < so_far < night["fail_probability"] / 2
    assert night["counts_from"] == "2026-01-05T21:00:00Z"


def test_the_limit_counts_anew_once_somebody_was_at_the_machine(store, bench, client, running):
    limit(store, 40)
    stop = stop_of(running(BEGIN + timedelta(hours=2)))
    code = client.get("/v1/forecasts?machine=M1").get_json()["items"][0]["assembly"]
    bench.post("/v1/removals", station="M1/T01", assembly=code, reason="inspection", by="B1")
    bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B1")

    night = running(BEGIN + timedelta(hours=2, minutes=15))

    assert night["begins_at"] == "2026-01-05T21:00:00Z"
    assert night["counts_from"] == "2026-01-05T23:00:00Z"
    assert stop_of(night) > stop + timedelta(hours=1)


def test_an_edge_that_broke_in_the_night_ends_the_question(store, bench, running):
    limit(store, 40)
    running(BEGIN + timedelta(hours=1))
    bench.post("/v1/breakages", station="M1/T01", signal="N-1", by="B1")

    night = running(BEGIN + timedelta(hours=1, minutes=15))

    assert night["answer"] == "stand"
    assert night["answer_sentence"] == "T01 failed. " + NOBODY
    assert [one["kind"] for one in night["options"]] == ["stand"]
    assert night["safe"] is False
