"""Gauges on their setting masters: checked, believed or not, and how their lines are read."""

from __future__ import annotations

from tests.pages.reading import form_data, read, words

MASTER = "LF 100.0001 WF 50.0000"


def take(client, *lines: str) -> str:
    """The gauge page's address after the gauge sent lines."""
    address = "/bench/gauges/PG-1"
    for line in lines:
        pairs = form_data(read(client, address).select_one("form:has([name=line])"))
        answer = client.get("/bench/gauges/PG-1", query_string={**pairs, "line": [line]})
        assert answer.status_code == 303, answer.get_data(as_text=True)
        address = answer.headers["Location"]
    return address


def test_the_first_thing_of_a_shift_is_said_with_where_to_do_it(client):
    page = read(client, "/bench/gauges")

    assert "was never checked" in words(page)
    assert page.select_one("a:-soup-contains('Check it')")["href"] == "/bench/gauges/PG-1"


def test_readings_of_the_master_become_a_check_that_counts(client, rows):
    address = take(client, MASTER, "LF 100.0000 WF 50.0001", "LF 99.9999 WF 50.0000")
    page = read(client, address)
    assert words(page).count("passes") == 2
    assert rows("gauge_checks") == 0

    form = page.select_one("form[method=post]:has([name=r])")
    page = read(client, client.post(form["action"], data=form_data(form)).headers["Location"])

    assert rows("gauge_checks") == 1
    assert "Gauge PG-1 is checked" in words(page)
    assert "passed" in words(page.select_one("#checks"))


def test_a_gauge_off_its_master_is_told_before_and_after(client, rows):
    page = read(client, take(client, "LF 100.0061 WF 50.0000"))
    assert "fails" in words(page)
    assert "The gauge reads +0.0061 mm off the master; at most 0.0050 mm" in words(page)

    form = page.select_one("form[method=post]:has([name=r])")
    assert "Record that it failed" in words(form)
    page = read(client, client.post(form["action"], data=form_data(form)).headers["Location"])

    assert "failed its check" in words(page)
    assert "failed" in words(page.select_one("#checks"))


def test_a_length_that_the_master_has_not_is_refused(client):
    page = read(client, take(client, "LF 100 HF 20"))

    assert "has no HF of its setting master" in words(page.select_one("[role=alert]"))
    assert not page.select("form[method=post]:has([name=r])")


def test_a_pattern_is_tried_on_a_line_before_it_is_kept(client):
    page = read(client, "/bench/gauges/PG-1?line_pattern=X{wf}+Z{lf}&try=X16.0103+Z80.001")
    assert "LF 80.0010 mm, WF 16.0103 mm" in words(page.select_one("[role=status].done"))
    assert client.get("/v1/gauges/PG-1").get_json()["line_pattern"] is None

    form = page.select_one("form[action^='/bench/gauge-lines']")
    client.post(form["action"], data=form_data(form))

    assert client.get("/v1/gauges/PG-1").get_json()["line_pattern"] == "X{wf} Z{lf}"
    assert "LF 100.0000 mm, WF 50.0000 mm" in words(read(client, take(client, "X50 Z100")))


def test_a_line_that_the_pattern_does_not_fit_is_told_by_word(client):
    page = read(client, "/bench/gauges/PG-1?line_pattern=X{wf}+Z{lf}&try=X16.0103+80.001")

    assert "Word 2 of the line is '80.001'" in words(page.select_one("[role=alert]"))


def test_a_pattern_that_cannot_be_is_not_kept_and_stays_typed(client):
    page = read(client, "/bench/gauges/PG-1?line_pattern=X{diameter}")
    form = page.select_one("form[action^='/bench/gauge-lines']")

    answer = client.post(form["action"], data=form_data(form))

    assert answer.status_code == 422
    text = answer.get_data(as_text=True)
    assert "X{diameter}" in text
    assert "is no measure" in text
    assert client.get("/v1/gauges/PG-1").get_json()["line_pattern"] is None


def test_a_gauge_that_is_none_says_so(client):
    assert "PG-9" in words(read(client, "/bench/gauges/PG-9", 404))


def test_a_reader_in_inches_reads_how_far_a_gauge_is_off_in_inches(client):
    address = take(client, "LF 100.0012 WF 50.0000")
    in_mm = words(read(client, address).select_one(".measure dl"))
    client.set_cookie("crib_shown", "en.in.24")
    in_inches = words(read(client, address).select_one(".measure dl"))

    assert in_mm.startswith("Off the master 1.2 µm, at most 5.0 µm")
    # 1 in = 25.4 mm exactly: 0.0012 mm and 0.005 mm
    assert in_inches.startswith("Off the master 0.00005 in, at most 0.00020 in")
