"""The documentation says what the service does: valid, complete, and no other host's."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from openapi_spec_validator import validate

from api import create_app
from api.problems import PROBLEM_TYPE
from api.settings import VARIABLES, Settings
from crib.store.engine import Store

#: Told by the documentation without a row of their own; the last as /healthz, for monitoring.
PLAIN = {"/v1/openapi.json", "/v1/docs", "/v1/feeds/health"}


@pytest.fixture
def app(store: Store, shop: SimpleNamespace) -> Flask:
    return create_app(Settings(store.url), store)


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def document(client: FlaskClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/v1/openapi.json").get_json()
    return found


def test_the_document_is_valid_openapi(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")

    validate(document)


def test_every_route_and_method_is_documented(app: Flask, document: dict[str, Any]) -> None:
    served = {
        (re.sub(r"<(?:[^:<>]+:)?(\w+)>", r"{\1}", rule.rule), method.lower())
        for rule in app.url_map.iter_rules()
        for method in rule.methods or ()
        if method not in ("HEAD", "OPTIONS")
    }

    told = {
        (path, method)
        for path, methods in document["paths"].items()
        for method in methods
        if method != "parameters"
    }

    # pages for people stand outside of /v1
    assert {
        p
        for p in served
        if p[0].startswith("/v1/") and not p[0].startswith("/v1/docs/") and p[0] not in PLAIN
    } == told


def test_every_call_of_the_contract_is_served(document: dict[str, Any]) -> None:
    wanted = """
        POST /v1/assemblies, POST /v1/assemblies/{code}/presets, POST /v1/mounts,
        POST /v1/removals, POST /v1/corrections, POST /v1/counts, POST /v1/gauge-checks,
        POST /v1/stock-moves, POST /v1/stops, GET /v1/scan/{code}, GET /v1/forecasts,
        GET /v1/swap-list, GET /v1/bench-queue, GET /v1/kits/{run}, GET /v1/reorder-list,
        GET /v1/life/{key}, GET /v1/costs, GET /v1/audit, GET /v1/labels/{code}.pdf,
        POST /v1/labels.pdf, GET /v1/shift-sheet.pdf, GET /v1/kits/{run}.pdf,
        GET /v1/machines, GET /v1/stations, GET /v1/cutting-items, GET /v1/lots,
        GET /v1/holder-types, GET /v1/holders, GET /v1/tool-specs, GET /v1/parts,
        GET /v1/tool-life, GET /v1/runs, GET /v1/calendars, GET /v1/gauges, GET /v1/people,
        POST /v1/workings/engaged-time, POST /v1/workings/tool-life,
        POST /v1/workings/tool-life-constants, POST /v1/workings/life-fit,
        POST /v1/workings/swap-point, POST /v1/workings/cutting-economics,
        POST /v1/workings/preset, POST /v1/workings/bench-order, POST /v1/workings/reorder,
        POST /v1/workings/part-size, GET /v1/workings/check-character/{text}
    """

    for call in wanted.split(","):
        method, path = call.split()
        assert method.lower() in document["paths"][path], call


def test_errors_are_documented_as_problem_documents(document: dict[str, Any]) -> None:
    responses = document["components"]["responses"]

    for methods in document["paths"].values():
        for method, operation in methods.items():
            if method == "parameters":
                continue
            for status, answer in operation["responses"].items():
                if int(status) < 400:
                    continue
                name = answer["$ref"].rsplit("/", 1)[-1]
                assert list(responses[name]["content"]) == [PROBLEM_TYPE]


def test_every_operation_has_a_name_of_its_own_and_a_summary(document: dict[str, Any]) -> None:
    operations = [
        operation
        for methods in document["paths"].values()
        for method, operation in methods.items()
        if method != "parameters"
    ]

    names = [operation["operationId"] for operation in operations]
    assert len(set(names)) == len(names)
    assert all(operation["summary"] for operation in operations)


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.targets: list[str] = []
        self.anchors: set[str] = set()
        self.scripts = 0
        self.scripts_of_ours = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "script":
            self.scripts += 1
            self.scripts_of_ours += any(
                name == "src" and str(value).startswith("/static/") for name, value in attrs
            )
        for name, value in attrs:
            if name in ("href", "src", "action") and value:
                self.targets.append(value)
            if name == "id" and value:
                self.anchors.add(value)


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/v1/docs",
        "/problems",
        "/problems/bad-code",
        "/C/TH-1",
        "/workings",
        "/workings/tool-life",
    ],
)
def test_pages_ask_no_other_host_and_run_no_inline_script(
    client: FlaskClient, path: str
) -> None:
    answer = client.get(path)
    page = _Links()
    page.feed(answer.get_data(as_text=True))

    assert answer.status_code == 200
    assert page.scripts == page.scripts_of_ours
    assert all(target.startswith(("/", "#")) for target in page.targets)
    assert {target[1:] for target in page.targets if target.startswith("#")} <= page.anchors


def test_the_documentation_page_tells_every_call(
    client: FlaskClient, document: dict[str, Any]
) -> None:
    text = client.get("/v1/docs").get_data(as_text=True)

    assert all(path in text for path in document["paths"])


def test_every_link_of_the_documentation_leads_to_its_call_or_shape(
    client: FlaskClient,
) -> None:
    seen: dict[str, _Links] = {}
    ahead = ["/v1/docs"]
    while ahead:
        address = ahead.pop()
        if address in seen:
            continue
        answer = client.get(address)
        assert answer.status_code == 200, address
        seen[address] = _Links()
        seen[address].feed(answer.get_data(as_text=True))
        ahead += [
            target.partition("#")[0]
            for target in seen[address].targets
            if target.startswith("/v1/docs")
        ]
    assert len(seen) > 300
    for page in seen.values():
        for target in page.targets:
            address, _, anchor = target.partition("#")
            if address.startswith("/v1/docs") and anchor:
                assert anchor in seen[address].anchors, target


def test_every_setting_is_told_in_the_help() -> None:
    from click.testing import CliRunner

    from api.cli import main

    text = CliRunner().invoke(main, ["--help"]).output

    assert all(name in text for name in VARIABLES)
