"""No form acts when a page of another site sends it, whichever form it is."""

from __future__ import annotations

import re
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from flask import Flask
from flask.testing import FlaskClient

ELSEWHERE = (
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},  # another service of the shop's own network
    {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
    {"Origin": "https://elsewhere.example"},
    {"Origin": "http://localhost.elsewhere.example"},
    {"Origin": "http://localhost:8081"},  # another service on this machine
    {"Origin": "null"},  # a file, a sandboxed frame
)
OURS = (
    {"Sec-Fetch-Site": "same-origin"},
    {"Sec-Fetch-Site": "none"},
    {"Origin": "http://localhost"},
    {},  # a program
)


def _forms(app: Flask) -> list[str]:
    """Every address outside the documented calls that takes a form."""
    return sorted(
        rule.rule
        for rule in app.url_map.iter_rules()
        if "POST" in (rule.methods or ()) and not rule.rule.startswith("/v1/")
    )


def _documented(app: Flask) -> list[tuple[str, str]]:
    return sorted(
        (rule.rule, method)
        for rule in app.url_map.iter_rules()
        if rule.rule.startswith("/v1/")
        for method in (rule.methods or set()) & {"POST", "PUT", "PATCH"}
    )


def _fill(rule: str, **values: str) -> str:
    return re.sub(r"<(?:\w+:)?(\w+)>", lambda found: values[found[1]], rule)


def test_every_form_refuses_a_page_of_another_site(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    code = bench.measure(bench.build("TH-2")["code"])["assembly"]
    forms = _forms(client.application)
    before = rows("facts")
    # what is asked of all forms at once; each reads the fields that it knows
    entries = {
        "station": "M1/T01", "tool": code, "tool_spec": "TURN-OD", "lot": "LOT-I1",
        "holder": "TH-2", "badge": "B1", "language": "de", "machine": "M1", "place": "A 1",
        "reason": "not needed", "fact": "1",
    }  # fmt: skip

    for form in forms:
        address = _fill(form, machine="M1", code=code, mark="PG-1", key="CNMG-408")
        # one form is asked for all that a browser may say, the others for either header
        for headers in ELSEWHERE if form == "/who" else (ELSEWHERE[1], ELSEWHERE[3]):
            answer = client.post(address, data=entries, headers=headers)
            assert answer.status_code == 403, (form, headers)
            assert b"sent from a page of another site" in answer.get_data(), (form, headers)
            assert "Set-Cookie" not in answer.headers, (form, headers)

    assert len(forms) > 10
    assert rows("facts") == before


@pytest.mark.parametrize("headers", OURS, ids=str)
def test_a_form_of_ours_acts(
    client: FlaskClient,
    bench: SimpleNamespace,
    rows: Callable[[str], int],
    headers: dict[str, str],
) -> None:
    entries = {"tool_spec": "TURN-OD", "lot": "LOT-I1", "holder": "TH-1"}

    answer = client.post("/bench/build", data=entries, headers=headers)

    assert answer.status_code == 303
    assert rows("assemblies") == 1


def test_no_documented_call_takes_what_a_form_can_send(client: FlaskClient) -> None:
    """A browser sends another site's JSON only after asking, and it is never told yes."""
    kinds = ("application/x-www-form-urlencoded", "multipart/form-data", "text/plain")
    calls = _documented(client.application)

    for number, (rule, method) in enumerate(calls):
        address = _fill(rule, code="TH-1", key="TH-1")
        kind = kinds[number % len(kinds)]
        answer = client.open(
            address, method=method, data=b'{"machine": "M1", "reason": "x"}', content_type=kind,
            headers={"If-Match": "*"},
        )  # fmt: skip
        assert answer.status_code in {415, 422}, (rule, method, kind)
        asked = client.options(address, headers={"Origin": "https://elsewhere.example"})
        assert "Access-Control-Allow-Origin" not in asked.headers, rule

    assert len(calls) > 50
