"""A page of another site, or under another name that leads here, neither reads nor writes."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from flask import Flask
from flask.testing import FlaskClient

from api.http.guard import host_name
from api.settings import BadSetting, Settings
from crib.store.engine import Store
from tests.rest.short_ways import SetClock, client_of

PERSON = {"badge": "B9", "name": "Attendant Nine", "role": "attendant"}


@pytest.fixture
def named(store: Store, clock: SetClock) -> FlaskClient:
    """A service with a public address and two more names."""
    environment = {
        "CRIB_DATABASE_URL": store.url,
        "CRIB_PUBLIC_ADDRESS": "Crib.Shop.example:8443",
        "CRIB_HOSTS": "toolroom, crib.internal.example.",
    }
    return client_of(store, clock, Settings.from_environment(environment))


@pytest.mark.parametrize(
    "host",
    [
        "localhost", "LocalHost:8000", "localhost.", "crib.localhost:8000",
        "127.0.0.1:8000", "192.0.2.7", "[::1]:8000", "[2001:db8::7]",
        "crib.shop.example", "CRIB.shop.example.:8443", "crib.shop.example:80",
        "toolroom:8000", "crib.internal.example",
    ],
)  # fmt: skip
def test_the_service_s_own_names_and_bare_addresses_are_taken(
    named: FlaskClient, host: str
) -> None:
    answer = named.post("/v1/people", json=PERSON, headers={"Host": host})

    assert answer.status_code == 201, answer.text


@pytest.mark.parametrize(
    "host",
    [
        "rebound.example", "rebound.example:8000", "localhost.rebound.example",
        "127.0.0.1.rebound.example", "xcrib.shop.example", "crib.shop.example.rebound.example",
        "shop.example", "notlocalhost", "localhost@rebound.example",
        "rebound.example,localhost",
        "127.1", "0x7f000001", "2130706433", "[::1", "[::a", "[rebound.example]", "", ":80",
        "localhost:80:80", "١٢٧.0.0.1",
    ],
)  # fmt: skip
def test_another_name_that_leads_here_is_refused_in_every_room(
    named: FlaskClient, rows: Callable[[str], int], host: str
) -> None:
    before = rows("people")
    asked = {"Host": host.encode().decode("latin-1"), "Origin": f"http://{host}"}
    for method, path in (
        ("POST", "/v1/people"),
        ("GET", "/v1/people"),
        ("GET", "/bench"),
        ("GET", "/healthz"),
        ("GET", "/static/crib.css"),
        ("GET", "/nowhere"),
    ):
        answer = named.open(path, method=method, json=PERSON, headers=asked)
        assert answer.status_code == 421, (method, path)
        told = answer.get_json()
        assert told["type"] == "/problems/foreign-host"
        assert "CRIB_HOSTS" in told["detail"]

    assert rows("people") == before


def test_without_settings_only_loopback_and_addresses_are_taken(client: FlaskClient) -> None:
    assert client.get("/healthz", headers={"Host": "toolroom"}).status_code == 421
    assert client.get("/healthz", headers={"Host": "localhost:8000"}).status_code == 200


def test_a_request_without_a_name_comes_from_no_browser(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def without(environ: dict[str, object], start: Callable[..., object]) -> object:
        environ.pop("HTTP_HOST")
        return wsgi(environ, start)

    wsgi = client.application.wsgi_app
    monkeypatch.setattr(client.application, "wsgi_app", without)
    assert client.get("/healthz").status_code == 200


@pytest.mark.parametrize("text", ["a b:80", "http://a", "a/b", "*", "a,,-b", "ä.example"])
def test_names_that_cannot_be_meant_stop_the_start(text: str) -> None:
    with pytest.raises(BadSetting, match="CRIB_HOSTS"):
        Settings.from_environment({"CRIB_HOSTS": text})


def test_the_name_of_a_host_header() -> None:
    assert host_name("[2001:DB8::1]:8000") == "[2001:db8::1]"
    assert host_name("[2001:db8::1]") == "[2001:db8::1]"
    assert host_name("Crib.Example.:") == "crib.example"


def _writing_routes(app: Flask) -> Iterator[tuple[str, str]]:
    for rule in app.url_map.iter_rules():
        names = dict.fromkeys(rule.arguments, "1")
        with app.test_request_context():
            _, path = rule.build(names) or (None, "/nowhere")
        for method in (rule.methods or set()) - {"GET", "HEAD", "OPTIONS"}:
            yield method, path


@pytest.mark.parametrize(
    "said",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": "http://localhost"},
        {"Origin": "https://elsewhere.example"},
        {"Origin": "http://localhost:81"},
        {"Origin": "null"},
        {"Origin": "http://["},
        {"Origin": ""},
        {"Origin": "http://localhost.elsewhere.example"},
    ],
)
def test_every_route_that_writes_refuses_another_site_s_page(
    client: FlaskClient, rows: Callable[[str], int], said: dict[str, str]
) -> None:
    routes = sorted(_writing_routes(client.application))
    assert len(routes) > 40
    facts = rows("facts")
    for method, path in routes:
        answer = client.open(path, method=method, data={"a": "b"}, headers=said)
        assert answer.status_code == 403, (method, path)
    assert rows("facts") == facts


@pytest.mark.parametrize(
    "said",
    [
        {},
        {"Sec-Fetch-Site": "same-origin", "Origin": "null"},
        {"Sec-Fetch-Site": "none"},  # an address that was typed (W3C, Fetch Metadata, 2.3)
        {"Origin": "http://LOCALHOST"},
        {"Origin": "http://localhost", "Host": "LOCALHOST"},
    ],
)
def test_our_own_pages_and_programs_write(client: FlaskClient, said: dict[str, str]) -> None:
    answer = client.post("/shown", data={"language": "de"}, headers=said)

    assert answer.status_code == 303


def test_a_foreign_name_is_shown_by_its_beginning(named: FlaskClient) -> None:
    answer = named.get("/bench", headers={"Host": "x" * 200 + ".example"})

    assert answer.status_code == 421
    assert "x" * 100 + "'" in answer.get_json()["detail"]


def test_a_form_is_smaller_than_a_list_of_counts(client: FlaskClient) -> None:
    long = "x" * 300_000

    form = client.post("/shown", data={"language": long})
    body = client.post("/v1/people", json={"name": long})

    assert form.status_code == 413
    assert body.status_code == 422


def test_our_own_forms_say_where_they_come_from_on_plain_http(client: FlaskClient) -> None:
    # Fetch standard, "append a request Origin header": the policy no-referrer makes it null.
    assert client.get("/shown").headers["Referrer-Policy"] == "same-origin"
