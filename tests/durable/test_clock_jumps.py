"""The service's clock is set wrong and right again: what was answered stands."""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.settings import Settings
from crib.clock import instant_from_us, parse_instant, print_instant
from crib.store.checking import check
from crib.store.engine import Store
from tests.durable.conftest import SetClock

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def at(shop: SimpleNamespace, minutes: float) -> datetime:
    """Minutes since ten: four hours into the first morning."""
    found: datetime = shop.start + timedelta(hours=4, minutes=minutes)
    return found


def post(client: FlaskClient, shop: SimpleNamespace, *minutes: int) -> dict[str, Any]:
    """Post what the counter says at these minutes: it goes up by one a minute."""
    readings = [{"at": print_instant(at(shop, m)), "count": 100 + m} for m in minutes]
    answer = client.post("/v1/counts", json={"machine": "M1", "readings": readings})
    assert answer.status_code == 202, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def judge(client: FlaskClient, refusal: int, verdict: str) -> Any:
    return client.post(
        "/v1/count-verdicts", json={"refusal": refusal, "verdict": verdict, "by": "B3"}
    )


def totals(store: Store) -> list[tuple[int, int]]:
    """Count and running total of each reading, by instant."""
    with store.read() as tx:
        rows = tx.exec_driver_sql("SELECT count, total FROM count_readings ORDER BY at")
        return [(row[0], row[1]) for row in rows]


def waiting(store: Store) -> list[tuple[int, datetime, str]]:
    """Number, instant and reason of each count that nobody has judged."""
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT id, at, reason FROM count_refusals WHERE id NOT IN"
            " (SELECT refusal_id FROM count_verdicts) ORDER BY id"
        )
        return [(row[0], instant_from_us(row[1]), row[2]) for row in rows]


@pytest.mark.parametrize("jump", [-HOUR, DAY], ids=["an hour back", "a day ahead"])
def test_what_was_answered_before_a_jump_stands(
    store: Store, shop: SimpleNamespace, client: FlaskClient, clock: SetClock, jump: timedelta
) -> None:
    clock.at = at(shop, 30)
    assert post(client, shop, 10, 20, 30)["accepted"] == 3

    clock.at += jump
    again = post(client, shop, 10)
    late = post(client, shop, -40, 25)

    # -40 is past by either clock; 25 is too far ahead of one that is an hour slow
    assert again["accepted"] == 0
    assert late["accepted"] == (1 if jump < HOUR else 2)
    middle = [] if jump < HOUR else [(125, 125)]
    assert totals(store) == [(60, 60), (110, 110), (120, 120), *middle, (130, 130)]
    assert check(store) == []


def test_counts_that_a_slow_clock_took_for_future_wait_and_can_be_accepted(
    store: Store, shop: SimpleNamespace, client: FlaskClient, clock: SetClock
) -> None:
    clock.at = at(shop, 30)
    post(client, shop, 30)
    clock.at -= HOUR

    refused = post(client, shop, 31, 32, 33)["refused"]

    assert [row["reason"] for row in refused] == ["in_future"] * 3
    assert "check the clock" in refused[0]["detail"]
    asides = waiting(store)
    assert [(when, reason) for _, when, reason in asides] == [
        (at(shop, minute), "in_future") for minute in (31, 32, 33)
    ]
    # by the slow clock they cannot be accepted either, and the answer says why
    early = judge(client, asides[0][0], "accepted")
    assert (early.status_code, "in the future" in early.get_json()["detail"]) == (409, True)

    clock.at = at(shop, 40)
    assert judge(client, asides[1][0], "accepted").get_json()["total"] == 132
    assert post(client, shop, 33, 40)["accepted"] == 2  # the machine itself sends one again
    assert judge(client, asides[0][0], "accepted").get_json()["total"] == 131
    known = judge(client, asides[2][0], "accepted")
    assert (known.status_code, "booked already" in known.get_json()["detail"]) == (409, True)
    assert judge(client, asides[2][0], "discarded").status_code == 201

    assert totals(store) == [(130, 130), (131, 131), (132, 132), (133, 133), (140, 140)]
    assert waiting(store) == []
    assert check(store) == []


def test_counts_that_a_fast_clock_dated_ahead_give_way_to_true_ones(
    store: Store, shop: SimpleNamespace, client: FlaskClient, clock: SetClock
) -> None:
    """Clock of the service and of the machine a day ahead, then both right again."""
    clock.at = at(shop, 30)
    post(client, shop, 10, 20, 30)
    day = int(DAY.total_seconds() // 60)
    clock.at = at(shop, 33) + DAY
    ahead = [
        {"at": print_instant(at(shop, day + minute)), "count": 100 + minute}
        for minute in (31, 32, 33)
    ]
    sent = client.post("/v1/counts", json={"machine": "M1", "readings": ahead}).get_json()
    assert sent["accepted"] == 3
    clock.at = at(shop, 36)

    told = post(client, shop, 35, 36)

    assert (told["accepted"], told["refused"], told["resets_seen"]) == (2, [], 0)
    assert totals(store) == [(c, c) for c in (110, 120, 130, 135, 136)]
    assert [(when - DAY, reason) for _, when, reason in waiting(store)] == [
        (at(shop, minute), "in_future") for minute in (31, 32, 33)
    ]
    # when that day comes, nothing stands in the way of what is true then
    clock.at = at(shop, day + 40)
    assert post(client, shop, day + 34, day + 40)["accepted"] == 2
    assert totals(store)[-1] == (100 + day + 40, 100 + day + 40)
    for number, _, _ in waiting(store):
        assert judge(client, number, "discarded").status_code == 201
    assert check(store) == []


def test_counts_dated_ahead_stand_while_nothing_contradicts_them(
    store: Store, shop: SimpleNamespace, client: FlaskClient, clock: SetClock
) -> None:
    """It is the clock of now that is wrong: an hour back, late counts fit before the others."""
    clock.at = at(shop, 100)
    post(client, shop, 30, 90, 100)
    clock.at -= HOUR

    assert post(client, shop, 35)["accepted"] == 1
    wild = {"at": print_instant(at(shop, 36)), "count": 90_000}
    sent = client.post("/v1/counts", json={"machine": "M1", "readings": [wild]}).get_json()
    assert [row["reason"] for row in sent["refused"]] == ["too_fast"]

    assert totals(store) == [(c, c) for c in (130, 135, 190, 200)]
    assert [reason for _, _, reason in waiting(store)] == ["too_fast"]
    assert check(store) == []


class JumpingClock:
    """The right time, an hour less or a day more, another at each look."""

    def __init__(self, begin: datetime, seed: int) -> None:
        self.right = begin
        self._chance = random.Random(seed)  # noqa: S311 - where to jump

    def __call__(self) -> datetime:
        return self.right + self._chance.choice((timedelta(0), -HOUR, DAY))


@pytest.mark.parametrize("seed", range(2))
def test_a_clock_that_jumps_during_posts_loses_and_doubles_nothing(
    store: Store, shop: SimpleNamespace, seed: int
) -> None:
    """Each post is sent twice under its key; the same is answered, whatever the clock says."""
    clock = JumpingClock(at(shop, 0), seed)
    client = create_app(Settings(store.url), store, clock).test_client()
    accepted, aside = set(), set()
    revisions = []
    for act in range(24):
        clock.right = at(shop, 5 * act)
        minutes = range(5 * act, 5 * act + 5)
        readings = [{"at": print_instant(at(shop, m - 4)), "count": 100 + m} for m in minutes]
        body, key = {"machine": "M1", "readings": readings}, {"Idempotency-Key": f"act-{act}"}
        first = client.post("/v1/counts", json=body, headers=key)
        again = client.post("/v1/counts", json=body, headers=key)
        assert (first.status_code, first.get_data()) == (202, again.get_data())
        refused = {row["index"] for row in first.get_json()["refused"]}
        assert {row["reason"] for row in first.get_json()["refused"]} <= {"in_future"}
        assert first.get_json()["accepted"] == 5 - len(refused)
        accepted |= {100 + m for place, m in enumerate(minutes) if place not in refused}
        aside |= {readings[place]["at"] for place in refused}
        revisions.append(client.get("/live").get_json()["revision"])

    assert accepted
    assert aside
    assert {count for count, _ in totals(store)} == accepted
    assert {when for _, when, _ in waiting(store)} == {parse_instant(text) for text in aside}
    assert revisions == sorted(set(revisions))
    with store.read() as tx:
        order = [
            row[0]
            for row in tx.exec_driver_sql(
                "SELECT max(r.count) FROM facts f JOIN count_readings r ON r.batch_id = f.id"
                " GROUP BY f.id ORDER BY f.id"
            )
        ]
    assert order == sorted(order)  # by id facts stand in the order in which they were said

    clock.right = at(shop, 120) + DAY + HOUR
    steady = create_app(Settings(store.url), store, SetClock(clock.right)).test_client()
    for number, _, _ in waiting(store):
        assert judge(steady, number, "accepted").status_code == 201
    assert totals(store) == [(count, count) for count in range(100, 220)]
    assert check(store) == []


def test_lists_forecasts_and_the_revision_go_on_through_jumps(
    shop: SimpleNamespace, client: FlaskClient, clock: SetClock, bench: SimpleNamespace
) -> None:
    """What is asked at an hour is the plan of that hour, also where it was another before."""
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B2")
    clock.at = at(shop, 0)
    post(client, shop, 0)
    right, revision = clock.at, 0
    for jump in (timedelta(0), DAY, timedelta(0), -HOUR, timedelta(0)):
        clock.at = right + jump
        post(client, shop, -200 - round(jump.total_seconds()) % 97)
        listed = client.get("/v1/swap-list").get_json()
        forecast = client.get("/v1/forecasts").get_json()
        now = client.get("/live").get_json()["revision"]

        assert {row["assembly"] for row in listed["items"]} - {None} == {code}
        for answer in (listed, forecast):
            assert answer["as_of"] == print_instant(clock.at)
        assert client.get("/shift").status_code == 200
        assert client.get("/v1/forecast-scores").status_code == 200
        assert now > revision
        revision = now


def test_a_mount_that_a_fast_clock_dated_ahead_can_be_taken_back_and_told_anew(
    store: Store, shop: SimpleNamespace, client: FlaskClient, clock: SetClock, bench: Any
) -> None:
    code = bench.ready()
    right = clock.at
    clock.at = right + DAY
    mount = bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B2")
    clock.at = right + timedelta(minutes=5)
    removal = {"station": "M1/T01", "reason": "chipped", "by": "B2"}

    refused = client.post("/v1/removals", json=removal)
    assert (refused.status_code, refused.get_json()["earliest"]) == (409, mount["at"])
    reversed_ = client.post("/v1/reversals", json={"fact": mount["fact"], "by": "B3"})
    assert reversed_.status_code == 201, reversed_.get_data(as_text=True)
    bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B2", at=print_instant(right))
    clock.at = right + HOUR
    bench.post("/v1/removals", **removal)

    clock.at = right + 2 * DAY  # the instant that was wrong has come and gone
    listed = client.get("/v1/swap-list").get_json()["items"]
    assert code not in [row["assembly"] for row in listed]
    with store.read() as tx:
        facts = tx.exec_driver_sql("SELECT kind FROM facts ORDER BY id DESC LIMIT 4").fetchall()
    assert [row[0] for row in facts] == ["removal", "mount", "reversal", "mount"]
    assert check(store) == []


def test_a_reversal_still_cannot_lie_before_a_fact_of_the_past(
    client: FlaskClient, clock: SetClock, bench: Any
) -> None:
    mount = bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready(), by="B2")
    before = print_instant(clock.at - HOUR)

    refused = client.post("/v1/reversals", json={"fact": mount["fact"], "at": before})

    assert (refused.status_code, refused.get_json()["earliest"]) == (409, mount["at"])
