"""A scan at a machine that leads nowhere: what was chosen stays, and the next scan goes on."""

from __future__ import annotations

from types import SimpleNamespace
from urllib.parse import urlencode

import pytest

from tests.pages.reading import read, words


@pytest.fixture
def chosen(bench, shop) -> SimpleNamespace:
    """A station and a tool that goes into it."""
    return SimpleNamespace(station=shop.codes["stations"]["M1/T01"], tool=bench.ready())


def entries(form) -> dict[str, str]:
    """What a browser without scripts sends of a form."""
    return {one["name"]: one.get("value", "") for one in form.select("input[name]")}


@pytest.mark.parametrize("before", [(), ("station",), ("tool",), ("station", "tool")])
@pytest.mark.parametrize(
    ("scanned", "status", "told"),
    [
        ("A00001X", 404, "'A00001X' is mistyped"),
        ("NOBODY", 404, "'NOBODY'"),
        ("lots", 422, "is neither a station nor a tool"),
        ("holders", 404, "is not built"),
        ("people", 422, "is neither a station nor a tool"),
    ],
)
def test_a_mis_scan_keeps_what_was_chosen(client, shop, chosen, before, scanned, status, told):
    code = list(shop.codes[scanned].values())[-1] if scanned.islower() else scanned
    was = {name: getattr(chosen, name) for name in before}

    page = read(client, f"/machines/M1/scan?{urlencode({**was, 'code': code})}", status)
    form = page.select_one("form[data-scan-on]")

    assert words(page.select_one("[role=alert]"))
    assert told in words(page.select_one("#what-to-do"))
    assert form["action"] == "/machines/M1/scan"
    assert entries(form) == {**was, "code": ""}
    assert form.select_one("[name=code]").has_attr("autofocus")
    assert page.select_one("#offline")["data-machine"] == "M1"
    for name in ("station", "tool"):  # the right scans lead on from here
        if name not in was:
            more = entries(page.select_one("form[data-scan-on]"))
            more["code"] = getattr(chosen, name)
            page = read(client, f"{form['action']}?{urlencode(more)}")
    if len(was) < 2:
        assert words(page.select_one(".verdict")).endswith("YES")


@pytest.mark.parametrize("before", [("station",), ("tool",), ("station", "tool")])
def test_nothing_scanned_keeps_what_was_chosen(client, chosen, before):
    was = {name: getattr(chosen, name) for name in before}

    page = read(client, f"/machines/M1/scan?{urlencode(was)}&code=")

    assert entries(page.select_one("form[data-scan-on]")) == {**was, "code": ""}


def test_an_address_with_a_wrong_tool_keeps_its_station(client, chosen):
    page = read(client, f"/machines/M1/mount?station={chosen.station}&tool=A00001X", 404)

    assert entries(page.select_one("form[data-scan-on]")) == {
        "station": chosen.station,
        "code": "",
    }
    page = read(client, f"/machines/M1/mount?station=S00001X&tool={chosen.tool}", 404)
    assert entries(page.select_one("form[data-scan-on]")) == {"tool": chosen.tool, "code": ""}


def test_a_machine_that_is_not_there_leads_on_by_any_code(client):
    page = read(client, "/machines/NOPE/scan?code=A00001X", 404)

    assert page.select_one("form[action='/C'] [name=code][data-scan]").has_attr("autofocus")
