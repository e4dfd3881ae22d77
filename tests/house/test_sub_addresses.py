"""A name in an address ends where its sub-addresses begin."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from api import create_app
from api.http.names import BELOW
from api.settings import Settings
from crib.store.engine import Store


@pytest.fixture
def app(store: Store, shop: object) -> Flask:
    return create_app(Settings(store.url), store)


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def test_every_sub_address_is_kept_out_of_names(app: Flask) -> None:
    served: dict[str, set[str]] = {}
    for rule in app.url_map.iter_rules():
        match = re.fullmatch(r"/v1/([\w-]+)/<name(?:\(.*\))?:\w+>/([\w-]+)", rule.rule)
        if match:
            served.setdefault(match[1], set()).add(match[2])

    assert served == {name: set(ends) for name, ends in BELOW.items()}


@pytest.mark.parametrize(
    "below",
    [
        *(f"{name}/TH-1/{end}/xyz" for name, ends in BELOW.items() for end in ends),
        "assemblies/TH-1/presets/",
        "lots/LOT-I1/study",
        "kits/1/xyz",
        "mounts/1/xyz",
        "machines/M1/xyz",
    ],
)
def test_nothing_answers_below_a_sub_address(client: FlaskClient, below: str) -> None:
    answer = client.get(f"/v1/{below}")

    assert answer.status_code in ((404, 405) if below.endswith("/") else (404,))


@pytest.mark.parametrize(
    ("address", "allowed"),
    [
        (f"{name}/TH-1/{end}", {"POST"} if name == "assemblies" else {"GET", "HEAD"})
        for name, ends in BELOW.items()
        for end in ends
    ],
)
def test_a_sub_address_allows_its_own_methods_alone(
    client: FlaskClient, address: str, allowed: set[str]
) -> None:
    answer = client.delete(f"/v1/{address}")

    assert answer.status_code == 405
    assert {*answer.headers["Allow"].split(", ")} == allowed | {"OPTIONS"}


@pytest.mark.parametrize(
    "address",
    ["stations/M1/T01", "stations/M1%2FT01", "holders/TH-1", "machines/M1", "lots/LOT-I1"],
)
def test_names_are_found_with_their_slashes(client: FlaskClient, address: str) -> None:
    assert client.get(f"/v1/{address}").status_code == 200


def test_a_name_may_hold_slashes_of_its_own(client: FlaskClient) -> None:
    made = client.post("/v1/holders", json={"holder": "24/117", "holder_type": "SQ12-CN"})

    assert made.status_code == 201
    assert client.get(made.headers["Location"]).get_json()["holder"] == "24/117"


def test_a_scanned_address_is_a_name_too(client: FlaskClient) -> None:
    code = client.get("/v1/holders/TH-1").get_json()["code"]

    assert client.get(f"/v1/scan/HTTPS://SHOP.EXAMPLE/C/{code}").status_code == 200
