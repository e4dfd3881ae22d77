"""A machine, run or stop that cannot be shown is told as its own problem among the others."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from api.pages.shift import timeline
from crib.clock import parse_instant, us_from_instant
from crib.outlook import changeovers, kits_ahead
from crib.views import night_view, planned_stops, shift_view
from tests.pages.reading import parsed, words
from tests.rest.one_row import fail, rows, text


def names_drawn(page: str) -> list[str]:
    rows = parsed(page).select(".floor tbody tr")
    return [words(row.th) for row in rows if row.select_one("td.time")]


def not_drawn(page: str) -> list[str]:
    rows = parsed(page).select(".floor tbody tr")
    return [words(row.th) for row in rows if row.select_one("td.time .undrawn")]


def words_of_rows(page: str) -> list[list[str]]:
    rows = parsed(page).select(".floor tbody tr")
    return [[words(cell) for cell in row.select("th, td:not(.time)")] for row in rows]


def grounds(page: str) -> dict[str, list[str]]:
    rows = parsed(page).select(".floor tbody tr")
    return {words(row.th): list(map(str, row.select("svg.field > rect"))) for row in rows}


def problems_on(page: str) -> list[str]:
    found = re.search(r'<ul class="blocks" id="left-out">(.*?)</ul>', page, re.DOTALL)
    return re.findall(r"<li>(.*?)</li>", found[1], re.DOTALL) if found else []


def plan_run(client: Any, machine: str, part: str) -> int:
    body = {"machine": machine, "part": part, "quantity": 90, "state": "planned"}
    answer = client.post("/v1/runs", json=body)
    assert answer.status_code == 201, answer.text
    return int(answer.get_json()["id"])


@pytest.mark.parametrize("machine", ["M1", "M2"])
def test_a_machine_that_cannot_be_drawn_says_so_in_its_row(busy, monkeypatch, machine):
    before = text(busy.client, "/shift")
    fail(monkeypatch, timeline, "_row", lambda axis, name, *_: name == machine)

    after = text(busy.client, "/shift")
    german = text(busy.client, "/shift", "de")

    assert names_drawn(after) == names_drawn(before) == ["M1", "M2"]
    assert before.count("could not be drawn") == 0
    assert not_drawn(after) == [machine]
    (problem,) = problems_on(after)
    assert f"The strip of {machine} could not be drawn" in problem
    assert problem.rstrip().endswith("The service log has the details.")
    assert len(problems_on(german)) == 1
    assert "could not be drawn" not in german
    # its row, and the lists below, say the same of every machine as before
    assert words_of_rows(after) == words_of_rows(before)
    assert after.split('id="due"')[1] == before.split('id="due"')[1]


def test_a_station_that_cannot_be_drawn_says_so_in_its_row(busy, monkeypatch):
    before = text(busy.client, "/shift/machines/M1")
    fail(monkeypatch, timeline, "_row", lambda axis, name, *_: name == "T11")

    after = text(busy.client, "/shift/machines/M1")

    assert sorted(names_drawn(after)) == sorted(names_drawn(before))
    assert len(names_drawn(after)) > 1
    assert not_drawn(after) == ["T11"]
    (problem,) = problems_on(after)
    assert "The strip of T11 could not be drawn" in problem


def test_the_hours_of_the_other_stations_are_drawn_though_the_first_is_not(busy, monkeypatch):
    before = text(busy.client, "/shift/machines/M1")
    first, *others = names_drawn(before)
    fail(monkeypatch, timeline, "_row", lambda axis, name, *_: name == first)

    after = text(busy.client, "/shift/machines/M1")

    assert not_drawn(after) == [first]
    assert others
    for name in others:
        assert grounds(after)[name] == grounds(before)[name] != []


@pytest.mark.parametrize("page", ["/shift", "/shift/machines/M1"])
def test_a_calendar_that_cannot_be_drawn_hides_no_tool(busy, monkeypatch, page):
    fail(monkeypatch, timeline, "ground_of", lambda *_: True)

    after = text(busy.client, page)

    drawn = names_drawn(after)
    assert drawn
    assert not_drawn(after) == drawn
    assert len(drawn) == len(problems_on(after))


def test_the_page_of_a_machine_whose_shift_fails_says_that_and_not_that_it_is_none(
    busy, monkeypatch
):
    fail(monkeypatch, shift_view, "_machine", lambda plan, machine_id, *_: machine_id == 2)

    answer = busy.client.get("/shift/machines/M2")
    assert answer.status_code == 409
    assert "The shift of machine M2 could not be worked out" in answer.text
    assert "There is no machine" not in answer.text
    assert busy.client.get("/shift/nights/m2").status_code == 200
    assert busy.client.get("/shift/machines/M3").status_code == 404


def test_a_run_whose_begin_fails_keeps_its_kit_in_the_list(busy, monkeypatch):
    first, second = (plan_run(busy.client, name, "PIN-8") for name in ("M1", "M2"))
    before = text(busy.client, "/shift")
    fail(monkeypatch, changeovers, "start_of_run", lambda plan, run_id, *_: run_id == second)

    shift = text(busy.client, "/shift")
    machine = text(busy.client, "/shift/machines/M2")
    other = text(busy.client, "/shift/machines/M1")

    why = "When machine M2 gets to its run of PIN-8 could not be worked out"
    for run in (first, second):
        assert before.count(f"/shift/kits/{run}") == shift.count(f"/shift/kits/{run}") == 1
    assert [why in one for one in problems_on(shift)] == [True]
    assert [why in one for one in problems_on(machine)] == [True]
    assert problems_on(other) == []
    assert "not foreseen" in machine.split('id="kits"')[1]


def test_a_kit_that_fails_leaves_the_lists_that_look_further_whole(busy, monkeypatch):
    runs = [plan_run(busy.client, name, "PIN-8") for name in ("M1", "M2")]
    whole = [busy.client.get(f"/v1/swap-list?hours={hours}").get_json() for hours in (72, 168)]
    fail(monkeypatch, kits_ahead, "start_of_run", lambda plan, run_id, *_: run_id == runs[1])

    for hours, before in zip((72, 168), whole, strict=True):
        answer = busy.client.get(f"/v1/swap-list?hours={hours}&limit=1000")
        assert answer.status_code == 200
        assert len(answer.get_json()["items"]) == len(before["items"])
    assert busy.client.get(f"/v1/kits/{runs[0]}").status_code == 200


def test_a_night_that_fails_is_told_on_its_machine_and_the_later_ones_are_shown(
    busy, monkeypatch
):
    path = "/shift/nights/M1"
    before = text(busy.client, path)
    fail(monkeypatch, night_view, "night_view", lambda plan, night: night.ordinal == 0)

    after = text(busy.client, path)

    panels = [one.count('<section class="panel night">') for one in (before, after)]
    assert panels[0] == panels[1] + 1 > 1
    (problem,) = problems_on(after)
    assert "A night of machine M1 could not be worked out" in problem
    assert "not known to be safe" in problem


def test_a_planned_stop_that_fails_leaves_the_others(busy, monkeypatch):
    path = "/v1/planned-stops?hours=72"
    before, nothing = rows(busy.client, path)
    assert nothing == []
    mine = [row for row in before if '"machine": "M1"' in row]
    assert len(mine) > 1
    at_us = us_from_instant(parse_instant(json.loads(mine[1])["at"]))
    fail(monkeypatch, planned_stops, "_row", lambda _, at, *__: abs(at - at_us) < 1_000_000)

    after, problems = rows(busy.client, path)

    assert after == [row for row in before if row != mine[1]]
    (problem,) = problems
    assert problem.startswith("A stop of machine M1 could not be worked out")
    assert problem.endswith("The service log has the details.")


def test_a_machine_whose_stops_fail_leaves_those_of_the_others(busy, monkeypatch):
    path = "/v1/planned-stops?hours=72"
    before, _ = rows(busy.client, path)
    fail(monkeypatch, planned_stops, "_stops_of", lambda ahead, *_: ahead.machine == "M1")

    after, problems = rows(busy.client, path)

    assert after == [row for row in before if '"machine": "M1"' not in row]
    assert after
    (problem,) = problems
    assert problem.startswith("The stops of machine M1 could not be worked out")


def test_every_page_of_the_plan_says_what_it_was_made_without(busy):
    for path in ("forecasts", "swap-list", "bench-queue", "planned-stops"):
        assert rows(busy.client, f"/v1/{path}")[1] == [], path
