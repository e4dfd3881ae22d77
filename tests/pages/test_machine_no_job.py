"""A mount where no job is on or planned: every answer says what was not compared."""

from __future__ import annotations

import pytest

from api.language.preferences import COOKIE
from tests.pages.reading import parsed, read, words
from tests.pages.test_machine_mount import asked
from tests.pages.test_machine_offline import known

NOT_COMPARED = "No job is on or planned at M1: this tool was not compared with a program."
CHECKED = "The measurement, the edge and whether the holder fits the station were checked."


@pytest.fixture
def place(shop, store):
    """A station of M1, whose only job is done."""
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done', end_at = start_at + 1")
    return shop.codes["stations"]["M1/T01"]


def test_the_page_says_so_under_its_yes(client, bench, place):
    page = read(client, asked(place, bench.ready()))

    assert words(page.select_one(".verdict")).endswith("YES")
    told = page.select_one(".verdict").find_next_sibling("p")
    assert (
        words(told)
        == f"{NOT_COMPARED} Look in the program whether TURN-OD belongs here. {CHECKED}"
    )


def test_the_page_says_so_in_german(client, bench, place):
    client.set_cookie(COOKIE, "de..24")

    told = words(read(client, asked(place, bench.ready())).main)

    assert "mit keinem Programm verglichen" in told
    assert "No job" not in told


def test_the_api_says_so_and_mounts(client, bench, place):
    done = bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())

    assert done["checked_for"] is None
    assert done["cautions"][0].startswith(NOT_COMPARED)


def test_a_dead_spot_says_so(client, bench, place):
    bench.ready()

    look = known(client)["tools"][0]["looks"][place]

    assert look["against"] == []
    assert NOT_COMPARED in words(parsed(look["key_in"]))


def test_where_no_fit_is_on_record_none_was_checked(client, bench, place, store):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE stations SET interface = NULL, kind = NULL")

    told = words(read(client, asked(place, bench.ready())).main)

    assert "Only the measurement and the edge were checked." in told


def test_with_a_job_on_it_was_compared(client, bench, shop):
    place, tool = shop.codes["stations"]["M1/T01"], bench.ready()

    assert "was not compared" not in words(read(client, asked(place, tool)).main)
    assert "was not compared" not in known(client)["tools"][0]["looks"][place]["key_in"]
    done = bench.post("/v1/mounts", station="M1/T01", assembly=tool)
    assert done["checked_for"] == "PIN-8"
    assert not any("was not compared" in one for one in done["cautions"])
