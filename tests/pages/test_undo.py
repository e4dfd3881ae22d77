"""One touch that undoes a touch: for the same person, within minutes, without scripts."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import pytest
from bs4 import BeautifulSoup
from flask.testing import FlaskClient

from tests.pages.reading import form_data, parsed, read, words
from tests.pages.test_machine_mount import asked, send

UNDO = "form[action='/undo']"


@pytest.fixture
def stands(shop: SimpleNamespace) -> SimpleNamespace:
    """Code of a station, by its short name."""
    return SimpleNamespace(t1=shop.codes["stations"]["M1/T01"])


@pytest.fixture
def mounted(client, bench, stands) -> SimpleNamespace:
    """A ready tool in M1/T01, and the address that confirms its mount."""
    tool = bench.ready()
    answer = send(client, read(client, asked(stands.t1, tool)), "mount")
    return SimpleNamespace(tool=tool, address=answer.headers["Location"])


def undo(client: FlaskClient, page: BeautifulSoup, status: int = 303) -> BeautifulSoup:
    """Touch the button of a confirming page; the page that follows."""
    answer = client.post("/undo", data=form_data(page.select_one(UNDO)))
    assert answer.status_code == status, words(parsed(answer.get_data()).main)
    return read(client, answer.headers["Location"]) if status == 303 else parsed(answer.data)


def take_out(client: FlaskClient, station: str, reason: str = "broken") -> str:
    """The address that confirms a removal."""
    page = read(client, f"/machines/M1/remove?station={station}")
    answer = send(client, page, "removal", reason=reason)
    assert answer.status_code == 303
    return str(answer.headers["Location"])


def scrapped(store) -> int:
    with store.read() as tx:
        return int(tx.exec_driver_sql("SELECT sum(scrapped) FROM pieces").scalar_one())


def test_a_touch_that_scrapped_a_piece_is_undone_by_one_touch(
    client, stands, mounted, rows, store
):
    out = take_out(client, stands.t1)
    assert scrapped(store) == 1
    removals, before = rows("removals"), rows("facts")

    done = undo(client, read(client, out))

    assert f"{mounted.tool} is mounted in M1/T01 again" in words(done.main)
    assert "Nothing is scrapped" in words(done.main)
    assert scrapped(store) == 0
    assert (rows("removals"), rows("facts")) == (removals, before + 1)  # kept, and one more
    station = read(client, f"/machines/M1/stations/{stands.t1}")
    assert mounted.tool in words(station.main)
    # the page that confirmed it leads to the one that says so, not to an error
    assert words(read(client, out).h1) == "Undone"
    take_out(client, stands.t1, "worn_as_planned")


def test_a_second_touch_and_a_second_phone_change_nothing_more(
    client, stands, mounted, rows, clock
):
    out = take_out(client, stands.t1)
    other = read(client, out)  # the same page on another phone, or in another tab
    first = read(client, out)
    before = rows("facts")
    form = form_data(first.select_one(UNDO))

    answers = [client.post("/undo", data=form) for _ in range(2)]
    clock.go_on(minutes=30)  # a touch that was repeated late is no new one
    answers += [client.post("/undo", data=form_data(other.select_one(UNDO)))]

    assert [answer.status_code for answer in answers] == [303] * 3
    assert len({answer.headers["Location"] for answer in answers}) == 1
    assert rows("facts") == before + 1


def test_a_mount_is_undone_and_says_to_take_the_tool_out(client, stands, mounted, rows):
    done = undo(client, read(client, mounted.address))

    assert f"The mount of {mounted.tool} in M1/T01 was undone" in words(done.main)
    assert "Take it out" in words(done.main)
    assert rows("station_state") == 0
    assert (
        send(client, read(client, asked(stands.t1, mounted.tool)), "mount").status_code == 303
    )


def test_the_steps_of_all_axes_are_undone_together(client, stands, mounted, rows):
    page = read(client, f"/machines/M1/correct?station={stands.t1}")
    answer = send(client, page, "correction", change_X="0.010", change_Z="-0.020")
    before = rows("facts")

    done = undo(client, read(client, answer.headers["Location"]))

    assert "Take the step back at the control as well" in words(done.main)
    assert rows("facts") == before + 2
    station = read(client, f"/machines/M1/stations/{stands.t1}")
    assert station.select_one(".key-in .figure").get_text() == "+52.021"


def test_a_build_is_undone_and_the_box_is_full_again(client, bench, store):
    form = read(client, "/bench/build?tool_spec=TURN-OD&holder=TH-1&lot=LOT-I1").select_one(
        "form[method=post]"
    )
    with store.read() as tx:
        full = tx.exec_driver_sql("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'").scalar_one()
    answer = client.post("/bench/build", data=form_data(form))

    done = undo(client, read(client, answer.headers["Location"]))

    assert "Holder TH-1 is free" in words(done.main)
    with store.read() as tx:
        left = tx.exec_driver_sql("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'").scalar_one()
        opened = tx.exec_driver_sql("SELECT count(*) FROM pieces").scalar_one()
    assert (left, opened) == (full, 0)
    assert bench.build("TH-1", lot="LOT-I1")["edge"] == 1


def test_a_measured_tool_offers_no_undo_of_its_build(client, bench):
    code = bench.ready()

    assert not read(client, f"/bench/work/{code}").select(UNDO)


def test_taking_a_used_tool_apart_is_undone(client, stands, mounted, rows):
    take_out(client, stands.t1, "inspection")
    form = read(client, f"/bench/take-apart/{mounted.tool}").select_one("form[method=post]")
    answer = client.post(form["action"], data=form_data(form))

    done = undo(client, read(client, answer.headers["Location"]))

    assert f"{mounted.tool} is built again" in words(done.main)
    assert (
        send(client, read(client, asked(stands.t1, mounted.tool)), "mount").status_code == 303
    )


def test_what_was_built_on_it_refuses_with_a_sentence(client, bench, stands, mounted, rows):
    out = read(client, take_out(client, stands.t1, "inspection"))
    sister = bench.measure(bench.build("TH-2")["code"])["assembly"]
    send(client, read(client, asked(stands.t1, sister)), "mount")
    before = rows("facts")

    page = undo(client, out, 409)

    assert f"Station M1/T01 holds {sister} by now" in words(page.main)
    assert rows("facts") == before


@pytest.mark.parametrize("late", [True, False])
def test_after_minutes_or_for_another_person_it_is_no_longer_one_touch(
    client, shop, stands, mounted, rows, clock, late: bool
):
    client.set_cookie("crib_by", shop.codes["people"]["B2"])
    address = take_out(client, stands.t1)
    form = form_data(read(client, address).select_one(UNDO))
    before = rows("facts")
    if late:
        clock.go_on(minutes=11)
    else:
        client.set_cookie("crib_by", shop.codes["people"]["B1"])

    assert not read(client, address).select(UNDO)
    refused = client.post("/undo", data=form)

    assert refused.status_code == 409
    told = words(parsed(refused.data).main)
    assert ("for 10 minutes only" if late else "Olek Varn recorded that") in told
    assert "/v1/reversals" in told
    assert rows("facts") == before


@pytest.mark.parametrize("facts", ["", "x", "999", "1,2,3,4,5", "1" * 30])
def test_what_names_no_touch_is_a_sentence(client, facts: str):
    for answer in (
        client.post("/undo", data={"facts": facts, "act_key": f"k{facts}"}),
        client.get(f"/undone/{facts or 'none'}"),
    ):
        assert answer.status_code == 404
        assert "nothing to undo" in words(parsed(answer.data).main)


def test_a_fact_of_another_kind_is_not_undone_here(
    client, bench, rows: Callable[[str], int], shop: SimpleNamespace
):
    stop = bench.post("/v1/stops", machine="M1", reason="door")["fact"]

    assert client.post("/undo", data={"facts": str(stop)}).status_code == 404
