"""The key that a repeated write bears, and the link to the next page of a list."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from flask import Request
from werkzeug.test import EnvironBuilder

from api.http.idempotency import KeyedRequest
from api.http.paging import one_page, page_link
from crib.errors import Invalid


def request(path: str = "/v1/counts", key: str | None = None, method: str = "POST") -> Request:
    headers = {} if key is None else {"Idempotency-Key": key}
    return Request(EnvironBuilder(path, method=method, headers=headers).get_environ())


@pytest.mark.parametrize("key", ["k", "x" * 200, "!~", "6f1c-22:/?"])
def test_a_key_is_one_to_200_printable_characters(key):
    assert KeyedRequest(request(key=key), {}).key == key


@pytest.mark.parametrize("key", ["", "x" * 201, "a b", "a\tb", "ä", "a\x7f"])
def test_another_key_is_refused(key):
    with pytest.raises(Invalid) as refused:
        KeyedRequest(request(key=key), {})

    assert str(refused.value) == (
        "Idempotency-Key must be 1 to 200 printable characters without spaces."
    )
    assert refused.value.errors == [
        {"field": "Idempotency-Key", "detail": "is not a valid key"}
    ]


def test_bodies_of_the_same_values_are_the_same_body():
    def hashed(body: Any) -> str:
        return KeyedRequest(request(key="k"), body).body_hash

    assert hashed({"a": 1, "b": [1, 2]}) == hashed({"b": [1, 2], "a": 1})
    assert len({hashed(one) for one in ({"a": 1}, {"a": 2}, {"a": [1]}, {"b": 1}, None)}) == 5


def test_a_request_is_its_method_its_path_and_its_query():
    def route(path: str, method: str = "POST") -> str:
        return KeyedRequest(request(path, "k", method), {}).route

    assert route("/v1/counts") == "POST /v1/counts"
    assert route("/v1/counts?unit=in") == "POST /v1/counts?unit=in"
    assert route("/v1/counts", "PATCH") == "PATCH /v1/counts"


def link(path: str, following: int | None) -> dict[str, str]:
    call: Any = SimpleNamespace(request=request(path, method="GET"))
    return page_link(call, following)


def test_the_last_page_leads_nowhere():
    assert link("/v1/lots?limit=2&after=4", None) == {}


@pytest.mark.parametrize(
    ("asked", "leads_to"),
    [
        ("/v1/lots", "/v1/lots?after=9"),
        ("/v1/lots?limit=2&after=4", "/v1/lots?limit=2&after=9"),
        ("/v1/lots?after=4&limit=2", "/v1/lots?after=9&limit=2"),
        ("/v1/lots/24%2F5%25%20%C3%A4%3E/uses", "/v1/lots/24/5%25%20%C3%A4%3E/uses?after=9"),
        ("/v1/mounts?assembly=A%26B%20C", "/v1/mounts?assembly=A%26B+C&after=9"),
        ("/v1/mounts?as_of=2026-01-05T06:00:00%2B01:00",
         "/v1/mounts?as_of=2026-01-05T06%3A00%3A00%2B01%3A00&after=9"),
    ],
)  # fmt: skip
def test_a_page_leads_to_the_next_with_the_same_filters(asked, leads_to):
    """RFC 8288, 3: an address in angle brackets, then what it is."""
    assert link(asked, 9) == {"Link": f'<{leads_to}>; rel="next"'}


@pytest.mark.parametrize("descending", [False, True])
@pytest.mark.parametrize(
    ("rows", "unreadable", "shown", "named", "following"),
    [
        ([1, 2], [], [1, 2], [], None),
        ([1, 2, 3], [], [1, 2], [], 2),
        ([1, 3], [2], [1], [2], 2),
        ([2, 3], [1], [2], [1], 2),
        ([1, 2], [3], [1, 2], [], 2),
        ([], [1, 2, 3], [], [1, 2], 2),
        ([], [], [], [], None),
    ],
)
def test_a_damaged_row_counts_for_its_page_and_is_named_there(
    rows, unreadable, shown, named, following, descending
):
    def place(number: int | None) -> int | None:
        return number if number is None or not descending else 100 - number

    call: Any = SimpleNamespace(
        request=request("/v1/lots?limit=2", method="GET"), query={"limit": 2}
    )
    reply = one_page(
        call,
        "lots",
        [{"id": place(one)} for one in rows],
        [100 - one if descending else one for one in unreadable],
        **({"descending": True} if descending else {}),
    )

    found: Any = reply.data
    assert found["items"] == [{"id": place(one)} for one in shown]
    assert found["next"] == place(following)
    assert found["problems"] == [
        f"Row {place(one)} of lots cannot be read, so it is not shown. Run crib check: it "
        "names what is damaged."
        for one in named
    ]
    assert ("Link" in reply.headers) is (following is not None)
