"""A broken tool that no job needs: every page says to take it out, and names no sister."""

from __future__ import annotations

from typing import Any

import pytest

from api.language.preferences import COOKIE
from tests.pages.reading import read, words
from tests.pages.test_pages_agree import on_paper

NONE = "PIN-8 runs and needs no tool here: mount none."


@pytest.fixture
def broken(client, bench, store, clock) -> str:
    """T01 holds a broken turning tool, and PIN-8 is made without T01; a like tool waits."""
    code: str = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    bench.ready(holder="TH-2")
    clock.go_on(minutes=5)
    bench.post("/v1/breakages", machine="M1", station="M1/T01", signal="load")
    clock.go_on(minutes=1)
    with store.write() as tx:
        tx.exec_driver_sql("DELETE FROM operations WHERE tool_number = 1")
    return code


def first_row(client) -> dict[str, Any]:
    [row] = [one for one in client.get("/v1/swap-list").get_json()["items"]
             if one["station"] == "T01"]  # fmt: skip
    return row


def test_the_answer_names_what_comes_out_and_no_sister(client, broken):
    row = first_row(client)

    assert (row["assembly"], row["tool_spec"], row["why"]) == (broken, "TURN-OD", "broken")
    assert row["sister"]["state"] == "not_needed"
    assert row["sister"]["assembly"] is row["sister"]["holder"] is row["ready_by"] is None
    assert not row["late"]
    assert row["why_sentence"].endswith(NONE)
    queue = client.get("/v1/bench-queue").get_json()["items"]
    assert "T01" not in {one["station"] for one in queue}


@pytest.mark.parametrize(
    ("address", "place", "told"),
    [
        (
            "/shift",
            "#due tbody tr:has(a:-soup-contains('T01'))",
            "take it out, no sister needed",
        ),
        ("/shift", "#nights section", "take it out, no sister needed"),
        (
            "/shift/machines/M1",
            "details tbody tr:has(a:-soup-contains('T01'))",
            "no sister needed",
        ),
        (
            "/machines/M1",
            "#due li:has(a:-soup-contains('T01'))",
            "take it out no sister needed",
        ),
        ("/machines/M1", "#stations .is-due", "take it out"),
    ],
)
def test_every_page_says_to_take_it_out(client, broken, address, place, told):
    part = words(read(client, address).select_one(place))

    assert told in part
    assert "swap now" not in part
    assert "sister blocked" not in part


def test_the_station_says_to_mount_none(client, broken, shop):
    code = shop.codes["stations"]["M1/T01"]
    page = words(read(client, f"/machines/M1/stations/{code}").main)

    assert f"Holds {broken}" in page
    assert "Take it out, mount none." in page
    assert "Swap it now" not in page
    assert NONE in page


def test_the_page_says_it_in_german(client, broken):
    client.set_cookie(COOKIE, "de..24")

    row = words(read(client, "/shift").select_one("#due tbody tr:has(a:-soup-contains('T01'))"))

    assert "ausbauen, kein Schwesterwerkzeug nötig" in row
    assert "das Werkzeug jetzt ausbauen" in row
    assert "PIN-8 läuft und braucht hier kein Werkzeug: keines einbauen." in row


def test_the_sheet_says_it(client, broken):
    sheet = on_paper(client.get("/v1/shift-sheet.pdf").get_data())

    assert "none needed" in sheet.replace("none need ed", "none needed")
    assert "mount none" in sheet
