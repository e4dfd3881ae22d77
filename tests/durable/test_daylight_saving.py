"""Nights in which the clocks are changed: every part once, in true order, hours as they are.

IANA rules of Europe/Zurich: from UTC+1 to UTC+2 at 01:00 UTC on the last Sunday of March, back
at 01:00 UTC on the last Sunday of October. The walls show 02:00 to 03:00 never, then twice.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.language.formats import local_clock
from api.settings import Settings
from api.text_lists import local
from crib.clock import instant_from_us, parse_instant, print_instant
from crib.records.catalogue import CALENDARS
from crib.store.checking import check
from crib.store.engine import Store
from crib.store.records import update_record
from tests.durable.conftest import SetClock

ZURICH = ZoneInfo("Europe/Zurich")
SPRING = datetime(2026, 3, 28, 22, tzinfo=ZURICH)
AUTUMN = datetime(2026, 10, 24, 22, tzinfo=ZURICH)
NIGHTS = pytest.mark.parametrize(
    ("ten", "hours"), [(SPRING, 7), (AUTUMN, 9)], ids=["23-hour day", "25-hour day"]
)


def on_the_wall(at: datetime) -> str:
    """An instant as a clock on the wall shows it, with the offset of the hour."""
    return at.astimezone(ZURICH).isoformat()


def post(client: FlaskClient, readings: list[dict[str, Any]]) -> dict[str, Any]:
    answer = client.post("/v1/counts", json={"machine": "M1", "readings": readings})
    assert answer.status_code == 202, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def kept(store: Store) -> list[tuple[int, int, int]]:
    """Count, counter life and running total of each reading, by instant."""
    with store.read() as tx:
        rows = tx.exec_driver_sql("SELECT count, life, total FROM count_readings ORDER BY at")
        return [(row[0], row[1], row[2]) for row in rows]


@NIGHTS
def test_counts_with_local_offsets_are_each_counted_once_in_true_order(
    store: Store,
    shop: SimpleNamespace,
    client: FlaskClient,
    clock: SetClock,
    ten: datetime,
    hours: int,
) -> None:
    begin = ten.astimezone(UTC)
    clock.at = begin + timedelta(hours=hours)
    instants = [begin + timedelta(minutes=5 * n) for n in range(12 * hours + 1)]
    readings = [{"at": on_the_wall(when), "count": 6 * n} for n, when in enumerate(instants)]
    walls = [reading["at"][:19] for reading in readings]
    offsets = {reading["at"][19:] for reading in readings}
    assert offsets == {"+01:00", "+02:00"}
    assert (len(set(walls)) < len(walls)) == (ten == AUTUMN)  # an hour of walls comes twice

    random.Random(4).shuffle(readings)  # noqa: S311 - any order
    taken = [post(client, readings[place::3]) for place in range(3)]
    again = post(client, [{**one, "at": as_utc(one["at"])} for one in readings])

    assert sum(one["accepted"] for one in taken) == len(readings)
    assert [one["refused"] for one in (*taken, again)] == [[]] * 4
    assert (again["accepted"], again["duplicates"]) == (0, len(readings))
    assert kept(store) == [(6 * n, 0, 6 * n) for n in range(len(readings))]
    assert check(store) == []


def as_utc(text: str) -> str:
    return print_instant(parse_instant(text))


def test_one_wall_time_with_both_offsets_is_two_readings(
    store: Store, client: FlaskClient, clock: SetClock
) -> None:
    clock.at = datetime(2026, 10, 25, 6, tzinfo=UTC)
    readings = [
        {"at": "2026-10-25T02:30:00+01:00", "count": 70},
        {"at": "2026-10-25T02:30:00+02:00", "count": 10},
    ]

    taken = post(client, readings)

    assert (taken["accepted"], taken["resets_seen"], taken["refused"]) == (2, 0, [])
    assert kept(store) == [(10, 0, 10), (70, 0, 70)]


def test_a_wall_time_without_its_offset_is_refused_and_told_why(
    store: Store, client: FlaskClient, clock: SetClock
) -> None:
    """The service never guesses which of two hours was meant."""
    clock.at = datetime(2026, 10, 25, 6, tzinfo=UTC)

    taken = post(client, [{"at": "2026-10-25T02:30:00", "count": 10}])
    stop = client.post(
        "/v1/stops", json={"machine": "M1", "reason": "chips", "at": "2026-10-25T02:30:00"}
    )

    assert [row["reason"] for row in taken["refused"]] == ["not_an_instant"]
    assert "with the offset" in taken["refused"][0]["detail"]
    assert stop.status_code == 422
    assert "offset" in stop.get_data(as_text=True)
    assert kept(store) == []


def test_a_stay_across_the_repeated_hour_has_its_real_parts(
    store: Store, client: FlaskClient, clock: SetClock, bench: SimpleNamespace
) -> None:
    """In at 02:40, out at 02:10 of the same night, half an hour later."""
    clock.at = AUTUMN.astimezone(UTC)
    code = bench.ready()
    clock.at = datetime(2026, 10, 25, 2, tzinfo=UTC)
    into, out = "2026-10-25T02:40:00+02:00", "2026-10-25T02:10:00+01:00"
    begin = parse_instant("2026-10-25T00:00:00Z")
    post(
        client,
        [
            {"at": on_the_wall(begin + timedelta(minutes=n)), "count": n}
            for n in range(0, 120, 10)
        ],
    )
    bench.post("/v1/mounts", station="M1/T01", assembly=code, by="B2", at=into)
    removal = {"station": "M1/T01", "reason": "chipped", "by": "B2"}

    early = client.post("/v1/removals", json={**removal, "at": "2026-10-25T02:10:00+02:00"})
    done = bench.post("/v1/removals", **removal, at=out)

    assert (early.status_code, early.get_json()["earliest"]) == (409, "2026-10-25T00:40:00Z")
    assert (done["at"], done["parts_made"]) == ("2026-10-25T01:10:00Z", 30)
    assert check(store) == []


@NIGHTS
def test_a_night_is_forecast_by_its_real_length(
    store: Store,
    shop: SimpleNamespace,
    client: FlaskClient,
    clock: SetClock,
    ten: datetime,
    hours: int,
    bench: SimpleNamespace,
) -> None:
    spans = [
        {"weekday": day, "start": start, "end": end, "attended": attended}
        for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
        for start, end, attended in ((360, 1320, True), (1320, 360, False))
    ]
    with store.write() as tx:
        update_record(tx, CALENDARS, shop.ids["calendars"]["weekdays"], {"spans": spans})
    begin = ten.astimezone(UTC)
    clock.at = begin - timedelta(hours=1)
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready(), by="B2")

    ahead = client.get("/v1/machines/M1/time-ahead?hours=24").get_json()
    with client.get("/v1/forecasts") as forecast:  # what it showed is kept once it is sent
        (night,) = [one for one in forecast.get_json()["nights"] if one["machine"] == "M1"]
    with store.read() as tx:
        kept_ends = tx.exec_driver_sql("SELECT shift_ends_at FROM kept_forecasts").fetchall()

    stretch = next(row for row in ahead["stretches"] if not row["attended"])
    end = print_instant(begin + timedelta(hours=hours))
    assert (stretch["start_at"], stretch["end_at"]) == (print_instant(begin), end)
    share = ahead["running_share"]["unattended"]
    assert stretch["parts"] == pytest.approx(hours * 3600 * share / 45, abs=1)
    assert (night["begins_at"], night["ends_at"]) == (print_instant(begin), end)
    assert [instant_from_us(row[0]) for row in kept_ends] == [begin]


def test_pages_and_lists_say_which_of_the_two_hours_they_mean(
    store: Store, shop: SimpleNamespace, clock: SetClock
) -> None:
    settings = Settings.from_environment(
        {"CRIB_DATABASE_URL": store.url, "CRIB_TIME_ZONE": ZURICH.key}
    )
    app = create_app(settings, store, clock)
    with app.test_request_context("/"):
        begin = datetime(2026, 10, 24, 23, 30, tzinfo=UTC)
        said = [local_clock(begin + timedelta(hours=hour)) for hour in range(4)]
    listed = [local(begin + timedelta(hours=hour), ZURICH) for hour in (1, 2, 3)]

    assert said == ["01:30", "02:30 CEST", "02:30 CET", "03:30"]
    assert listed == ["Sun 25 Oct 02:30 CEST", "Sun 25 Oct 02:30 CET", "Sun 25 Oct 03:30"]
