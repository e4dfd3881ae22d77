"""What goes wrong in a browser is a page with a way on; programs get the problem document."""

from __future__ import annotations

import pytest

from crib.errors import StoreBusy
from tests.pages import conftest
from tests.pages.reading import parsed, words

BROWSER = {"Accept": conftest.BROWSER}
PROGRAMS = ({"Accept": ""}, {"Accept": "*/*"}, {"Accept": "application/json, text/html;q=0.5"})
WRONG = {
    "/nothing/here": (404, "There is nothing at /nothing/here."),
    "/v1/holders/99": (404, "There is no holder 99"),
    "/problems/unheard": (404, "There is no kind of problem called unheard."),
    "/workings/unheard": (404, "There is no calculation called unheard"),
    "/v1/holders?limit=none": (422, "limit"),
}


@pytest.mark.parametrize("address", WRONG)
def test_a_browser_gets_a_page_that_says_what_is_wrong_and_leads_on(client, address):
    status, says = WRONG[address]
    answer = client.get(address, headers={**BROWSER, "Referer": "http://localhost/bench?a=1"})
    page = parsed(answer.get_data())

    assert (answer.status_code, answer.mimetype) == (status, "text/html")
    assert says in words(page.select_one("[role=alert]"))
    assert {"/bench?a=1", "/"} <= {a["href"] for a in page.select("main p.choices a")}
    assert page.select_one("main form[action='/C'] input[name=code]")
    assert "Accept" in answer.headers["Vary"]


def test_a_mistyped_code_stands_in_the_field_to_be_put_right(client):
    answer = client.get("/C/TH-99", headers=BROWSER)
    page = parsed(answer.get_data())

    assert answer.status_code == 404
    assert page.select_one("main input[name=code]")["value"] == "TH-99"
    assert page.select_one("main [data-scan-camera]")
    assert "wasm-unsafe-eval" in answer.headers["Content-Security-Policy"]


def test_each_field_that_is_wrong_says_why(client):
    page = parsed(client.get("/v1/holders?limit=none", headers=BROWSER).get_data())

    (one,) = page.select("[role=alert] li")
    assert words(one) != "limit"


@pytest.mark.parametrize("address", WRONG)
@pytest.mark.parametrize("headers", PROGRAMS)
def test_a_program_gets_the_problem_document(client, address, headers):
    answer = client.get(address, headers=headers)

    assert answer.status_code == WRONG[address][0]
    assert answer.mimetype == "application/problem+json"
    assert "Accept" in answer.headers["Vary"]


def test_the_way_back_leads_to_pages_of_ours_alone(client):
    for came in ("http://elsewhere.test/x", "http://localhost/nothing/here", "nonsense"):
        answer = client.get("/nothing/here", headers={**BROWSER, "Referer": came})
        links = [a["href"] for a in parsed(answer.get_data()).select("main p.choices a")]

        assert links == ["/"], came


def test_in_german_it_is_said_in_german(client):
    answer = client.get("/nothing/here", headers={**BROWSER, "Accept-Language": "de"})

    assert "Adresse gibt es nicht" in words(parsed(answer.get_data()).select_one("h1"))


def fails_with(client, monkeypatch, endpoint, problem):
    def fail(**_):
        raise problem

    monkeypatch.setitem(client.application.view_functions, endpoint, fail)


def test_a_busy_database_says_try_again(client, monkeypatch):
    fails_with(client, monkeypatch, "front.index", StoreBusy("The database is busy."))
    answer = client.get("/", headers=BROWSER)
    page = parsed(answer.get_data())

    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "1")
    assert page.select_one("main a.main")["href"] == "/"


def test_a_fault_shows_its_id_and_nothing_of_its_inside(client, monkeypatch, caplog):
    fails_with(client, monkeypatch, "front.index", RuntimeError("an inner secret"))
    answer = client.get("/", headers=BROWSER)
    page = words(parsed(answer.get_data()).main)

    assert answer.status_code == 500
    fault = caplog.messages[0].split()[1].rstrip(":")
    assert fault in page
    assert "inner secret" not in page


def test_a_problem_whose_page_fails_too_is_told_as_a_document(client, monkeypatch):
    def broken(*_):
        raise RuntimeError("no page")

    monkeypatch.setitem(client.application.extensions, "crib-problem-as-page", broken)
    answer = client.get("/nothing/here", headers=BROWSER)

    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")


def test_a_form_sent_to_an_address_that_takes_none_says_so(client):
    answer = client.post("/shift", headers={**BROWSER, "Origin": "http://localhost"})

    assert (answer.status_code, answer.mimetype) == (405, "text/html")
    assert answer.headers["Allow"] == "GET, HEAD, OPTIONS"
