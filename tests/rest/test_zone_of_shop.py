"""Times are shown in the zone that is set, else in that of the calendars, and it is named."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient
from sqlalchemy import event

from api.application import attach_site
from api.cli import main
from api.settings import Settings
from crib.store.engine import Store
from tests.pages.reading import read, words
from tests.rest.conftest import SetClock


@pytest.fixture
def as_set(client: FlaskClient, store: Store, clock: SetClock):
    """Serve the small shop, whose calendar is Zurich's, with variables as they are set."""

    def serve(**environment: str) -> FlaskClient:
        settings = Settings.from_environment({"CRIB_DATABASE_URL": store.url, **environment})
        attach_site(client.application, settings, store, clock)
        return client

    return serve


def footer(client: FlaskClient) -> str:
    return words(read(client, "/machines").select_one("footer"))


def test_a_zone_that_is_not_set_is_that_of_the_calendars(as_set) -> None:
    client = as_set()
    assert "Times are those of Europe/Zurich." in footer(client)
    spans = [{"weekday": "mon", "start": "06:00", "end": "14:00", "attended": True}]
    other = {"calendar": "tokyo", "time_zone": "Asia/Tokyo", "spans": spans}
    assert client.post("/v1/calendars", json=other).status_code == 201
    assert "Times are those of UTC." in footer(client)  # two zones: nobody knows whose
    assert "Times are those of Asia/Tokyo." in footer(as_set(CRIB_TIME_ZONE="Asia/Tokyo"))


def test_times_and_labels_are_of_that_zone(
    as_set, bench: SimpleNamespace, clock: SetClock, store: Store
) -> None:
    code = bench.ready()
    client = as_set()
    post = {"machine": "M1", "readings": [{"at": "2026-01-05T07:50:00Z", "count": 3}]}
    assert client.post("/v1/counts", json=post).status_code == 202
    assert "8:50" in words(read(client, "/machines/M1").select_one("#counter"))
    assert client.get(f"/v1/labels/{code}.pdf").status_code == 200
    settings = Settings.from_environment({}).in_zone_of("Europe/Zurich")
    assert settings.local(clock.at) == "2026-01-05 09:00 CET"
    done = CliRunner().invoke(main, ["swap-list"], env={"CRIB_DATABASE_URL": store.url})
    assert "times of Europe/Zurich" in done.stderr


def test_who_shows_no_time_reads_no_calendar(as_set, bench: SimpleNamespace) -> None:
    """Whether the service lives is told without the database; a scan reads what it needs."""
    client, code = as_set(), bench.ready()
    asked: list[str] = []
    engine = client.application.extensions["crib"].store.engine
    event.listen(engine, "before_cursor_execute", lambda *told: asked.append(told[2]))

    assert client.get("/healthz").status_code == 200
    assert asked == []
    assert client.get(f"/v1/scan/{code}").status_code == 200
    assert asked
    assert not [one for one in asked if "time_zone FROM calendars" in one]


def test_a_calendar_without_a_zone_is_in_that_of_the_others(client: FlaskClient) -> None:
    spans = [{"weekday": "mon", "start": "06:00", "end": "14:00", "attended": True}]
    calendar = {"calendar": "early", "spans": spans}
    assert client.post("/v1/calendars", json=calendar).status_code == 201
    machine = {"machine": "M9", "calendar": "early"}
    assert client.post("/v1/machines", json=machine).status_code == 201
    told = client.get("/v1/machines/M9/time-ahead?hours=24").get_json()
    assert told["time_zone"] == "Europe/Zurich"
