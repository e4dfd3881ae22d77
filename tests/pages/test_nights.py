"""The page of a machine's nights: answer first, and the supervisor's own limit."""

from __future__ import annotations

from datetime import timedelta

import pytest

from api import create_app
from api.settings import Settings
from tests.demos import PRESENT
from tests.pages.reading import read, words
from tests.tight_nights import set_tight_limit


@pytest.fixture
def nights(client, bench, clock):
    """Reads the page of M1's nights; a tool is in T01, with parts told."""
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    clock.go_on(minutes=10)
    return lambda: read(client, "/shift/nights/M1")


def limit_form(page, value):
    form = page.select_one("#limit")
    fields = {one["name"]: one.get("value", "") for one in form.select("input")}
    return fields | {"night_limit_percent": value}


def test_the_answer_stands_before_its_reason_and_the_figures_are_folded(nights):
    night = nights().select_one("#nights section")
    order = [one.get("class", [""])[0] for one in night.select(".answer, .reason, .figures")]

    assert order == ["answer", "reason", "figures"]
    assert night.select_one("details.figures").get("open") is None
    assert len(night.select(".options .chosen")) == 1
    assert "Your limit for M1 is 5 %." in words(night.select_one(".reason"))


def test_a_supervisor_s_limit_is_kept_and_taken_back(client, nights):
    sent = client.post("/shift/nights/M1", data=limit_form(nights(), "12,5 %"))
    page = nights()

    assert (sent.status_code, sent.headers["Location"]) == (303, "/shift/nights/M1")
    assert page.select_one("#in-night_limit_percent")["value"] == "12.5"
    assert "Your limit for M1 is 12.5 %." in words(page.select_one(".reason"))
    assert client.get("/v1/forecasts").get_json()["nights"][0]["limit"] == 0.125

    client.post("/shift/nights/M1", data=limit_form(page, ""))
    assert client.get("/v1/forecasts").get_json()["nights"][0]["limit"] == 0.05


def test_a_limit_of_the_loss_is_kept_and_counts_instead(client, nights):
    sent = client.post(
        "/shift/nights/M1", data=limit_form(nights(), "") | {"night_limit_loss": "250"}
    )
    page = nights()

    assert sent.status_code == 303
    assert page.select_one("#in-night_limit_loss")["value"] == "250.00"
    (night, *_) = client.get("/v1/forecasts").get_json()["nights"]
    assert (night["limit"], night["limit_loss_minor"]) == (0.05, 25_000)
    assert night["reason_sentence"].endswith("; your limit for M1 is 250.00.")


def test_a_limit_of_the_loss_that_cannot_be_is_refused_beside_its_field(client, nights):
    refused = client.post(
        "/shift/nights/M1", data=limit_form(nights(), "12") | {"night_limit_loss": "-3"}
    )

    assert refused.status_code in (400, 422)
    assert 'value="-3"' in refused.get_data(as_text=True)
    assert client.get("/v1/forecasts").get_json()["nights"][0]["limit"] == 0.05


@pytest.mark.parametrize("wrong", ["60", "0", "often", "-1"])
def test_a_limit_that_cannot_be_is_refused_beside_its_field(client, nights, wrong):
    refused = client.post("/shift/nights/M1", data=limit_form(nights(), wrong))

    assert refused.status_code in (400, 422)
    assert f'value="{wrong}"' in refused.get_data(as_text=True)
    assert 'aria-invalid="true"' in refused.get_data(as_text=True)
    assert client.get("/v1/forecasts").get_json()["nights"][0]["limit"] == 0.05


def test_a_limit_set_on_an_older_page_is_refused(client, nights):
    old = limit_form(nights(), "10")
    client.post("/shift/nights/M1", data=limit_form(nights(), "20"))

    assert client.post("/shift/nights/M1", data=old).status_code in (409, 412)
    assert client.get("/v1/forecasts").get_json()["nights"][0]["limit"] == 0.2


def test_a_swap_that_a_night_lacks_says_why_and_leads_to_the_bench(demos, tmp_path):
    store = demos.copy(tmp_path).store
    evening = PRESENT - timedelta(hours=12, minutes=40)
    with store.write() as tx:
        set_tight_limit(tx, "L1", evening)
    client = create_app(Settings(store.url), store, lambda: evening).test_client()

    night = read(client, "/shift/nights/L1").select_one("#nights section")

    assert "No sister in time for T21." in words(night.select_one(".reason"))
    (why,) = night.select(".blocks li")
    assert words(why).startswith("L1/T21,")
    assert "late: other work is due before it." in words(why)
    assert why.select_one("a[href='/bench']")
    store.close()
