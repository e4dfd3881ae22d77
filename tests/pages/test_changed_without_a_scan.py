"""An edge too old to be believed is asked about everywhere, with the act that answers."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.pages.reading import read, words
from tests.rest.conftest import SetClock
from tests.store.test_forecast import floor  # noqa: F401 - a fixture

KEY = "CNMG-408~M~turn"


@pytest.fixture
def old(floor: Any, clock: SetClock) -> str:  # noqa: F811 - the fixture
    """A tool in M1/T01 that would have run about eleven promised lives; its station's code."""
    floor.mount(floor.sister())
    floor.make(2_200)
    (forecast,) = floor.plan().forecasts
    assert 10 < forecast.share_used < 12
    clock.at = floor.plan().shop.now
    return str(forecast.station_code)


ASKED = "Was M1/T01 changed without a scan?"


@pytest.mark.parametrize(
    "address",
    [
        "/machines/M1",
        "/bench",
        "/shift",
        f"/lives/{KEY}",
        "/lives",
        "/machines/M1/stations/{station}",
    ],
)
def test_every_page_asks_and_leads_to_the_station(
    client: FlaskClient, old: str, address: str
) -> None:
    page = read(client, address.format(station=old))

    assert ASKED in words(page.main)
    for said in ("Best swapped at", "overdue", "past its swap"):
        assert said not in words(page.main)
    if address != "/machines/M1/stations/{station}":
        links = page.select(f"a[href='/machines/M1/stations/{old}']")
        assert "Say what is in T01" in [words(link) for link in links]


def test_the_shift_names_it_apart_from_what_is_due(client: FlaskClient, old: str) -> None:
    page = read(client, "/shift")

    (said,) = (
        words(row) for row in page.select(".answers li") if words(row).startswith("Overdue")
    )
    assert said == "Overdue One due now: M1/T11. Changed without a scan? M1/T01"


def test_the_machine_says_no_swap_now(client: FlaskClient, old: str) -> None:
    (row,) = (
        one for one in read(client, "/machines/M1").select(".due li") if "T01" in words(one)
    )

    assert row.select_one(".state.care-state").get_text() == "changed without a scan?"
    assert "swap now" not in words(row)
    assert "at 11 times its expected life" in words(
        read(client, f"/machines/M1/stations/{old}").main
    )


def test_lists_for_machines_ask_too(client: FlaskClient, old: str) -> None:
    json = {"headers": {"Accept": "application/json"}}
    (forecast,) = client.get("/v1/forecasts", **json).get_json()["items"]
    swaps = client.get("/v1/swap-list", **json).get_json()["items"]
    jobs = client.get("/v1/bench-queue", **json).get_json()["items"]

    for found in (
        forecast,
        next(one for one in swaps if one["station"] == "T01"),
        next(one for one in jobs if one["station"] == "T01"),
    ):
        assert found["why"] == "doubted_age"
        assert found["why_sentence"].startswith(ASKED)
        assert found["station_code"] == old
    assert forecast["overdue_since"] is None


def test_the_swap_that_was_made_ends_the_question(
    client: FlaskClient,
    old: str,
    floor: Any,  # noqa: F811 - the fixture
) -> None:
    floor.remove("worn_as_planned")

    assert ASKED not in words(read(client, "/shift").main)
