"""An instant that nothing can read is the problem of its machine alone.

It is written into the file past every check, as damage would: beyond the year 9999.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import Any

import pytest

from crib.clock import us_from_instant
from crib.views import show_feeds
from tests.rest.one_row import fail, rows, text

BEYOND = 2**62

#: Where the supervisor, the operator and a program look.
VIEWS = (
    "/shift", "/shift/machines/M1", "/shift/machines/M2", "/shift/feeds", "/shift/questions",
    "/machines", "/machines/M1", "/machines/M2",
    "/v1/forecasts", "/v1/swap-list", "/v1/planned-stops", "/v1/feeds", "/v1/feed-gaps",
    "/v1/questions", "/v1/feeds/health", "/v1/shift-sheet.pdf",
)  # fmt: skip

#: Table and column -> the machine whose row it is, and the view that says so.
DAMAGE = {
    "feeds.heard_at": ("M2", "/v1/feeds"),
    "feeds.counted_at": ("M2", "/v1/feeds"),
    "feeds.assets_sent_at": ("M2", "/v1/feeds"),
    "machine_now.since": ("M2", "/v1/feeds"),
    "machine_rests.ends_at": ("M2", "/v1/feeds"),
    "feed_gaps.found_at": ("M2", "/v1/feed-gaps"),
    "tools_seen.last_at": ("M1", "/v1/questions"),
}


@pytest.fixture
def heard(busy, clock, store) -> Any:
    """The busy shop with two machines that an agent follows and that told all there is."""
    at_us = us_from_instant(clock.at)
    with closing(sqlite3.connect(store.path, isolation_level=None)) as file:
        for machine_id in (1, 2):
            machine = (machine_id,)
            file.execute(
                "INSERT INTO feeds (machine_id, source, state, heard_at, counted_at,"
                " assets_sent_at) VALUES (?, 'mtconnect', 'following', ?, ?, ?)",
                (*machine, at_us, at_us, at_us),
            )
            file.execute(
                "INSERT INTO machine_now (machine_id, kind, path, since, value)"
                " VALUES (?, 'EXECUTION', '1', ?, 'READY')",
                (*machine, at_us),
            )
            file.execute(
                "INSERT INTO machine_rests (machine_id, path, begins_at, ends_at, value)"
                " VALUES (?, '1', ?, ?, 'READY')",
                (*machine, at_us - 9_000_000, at_us),
            )
            file.execute(
                "INSERT INTO feed_gaps (machine_id, found_at, reason) VALUES (?, ?, 'overrun')",
                (*machine, at_us),
            )
            file.execute(
                "INSERT INTO tools_seen (machine_id, path, tool_number, asset, first_at,"
                " last_at) VALUES (?, '1', 1, ?, ?, ?)",
                (*machine, busy.shop.codes["holders"]["TH-1"], at_us, at_us),
            )
            file.execute(
                "INSERT INTO breakage_doubts (machine_id, path, tool_number, at, signal, why,"
                " found_at) VALUES (?, '1', 9, ?, 'BROKEN', 'No station has it.', ?)",
                (*machine, at_us, at_us),
            )
    return busy


def damage(store: Any, place: str, machine: str = "M2") -> None:
    """Make an instant of a machine's rows one that nothing can read."""
    spoil(
        store,
        place,
        f"machine_id = (SELECT id FROM machines WHERE machine = '{machine}')",
    )


def spoil(store: Any, place: str, where: str, value: object = BEYOND) -> None:
    """Make an instant of some rows of a table one that nothing can read."""
    table, column = place.split(".")
    with closing(sqlite3.connect(store.path, isolation_level=None)) as file:
        file.execute("PRAGMA ignore_check_constraints = 1")
        triggers = file.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
        )
        for (name,) in triggers.fetchall():
            file.execute(f"DROP TRIGGER {name}")
        changed = file.execute(f"UPDATE {table} SET {column} = ? WHERE {where}", (value,))
        assert changed.rowcount >= 1


def names_machine(row: str, name: str) -> bool:
    return f'"machine": "{name}"' in row


@pytest.mark.parametrize("place", DAMAGE)
def test_an_instant_that_cannot_be_read_is_the_problem_of_its_machine(heard, store, place):
    machine, shop = DAMAGE[place]
    other = "M1" if machine == "M2" else "M2"
    good = rows(heard.client, shop)[0]
    damage(store, place, machine)

    for path in VIEWS:
        answer = heard.client.get(path)
        assert answer.status_code == (503 if path == "/v1/feeds/health" else 200), path

    after, problems = rows(heard.client, shop)
    of_other = [[row for row in found if names_machine(row, other)] for found in (good, after)]
    assert of_other[0] == of_other[1] != []
    left = [row for row in after if names_machine(row, machine)]
    assert any(f"machine {machine} " in why for why in problems) or any(
        f"machine {machine} could not be evaluated" in row for row in left
    )
    assert any(names_machine(row, machine) for row in good)


def test_a_feed_whose_instant_cannot_be_read_says_so_wherever_feeds_are_shown(
    heard, store, clock
):
    damage(store, "feeds.heard_at")

    first, second = heard.client.get("/v1/feeds").get_json()["items"]
    health = heard.client.get("/v1/feeds/health?machine=M2")
    page = text(heard.client, "/shift/feeds")

    assert (first["machine"], first["heard_at"] is not None) == ("M1", True)
    assert (second["machine"], second["state"], second["heard_at"]) == ("M2", "stopped", None)
    assert "The data of machine M2 could not be evaluated" in second["problem"]
    assert health.status_code == 503
    assert [one["machine"] for one in health.get_json()["machines"]] == ["M1", "M2"]
    assert "The data of machine M2 could not be evaluated" in page


def test_a_breakage_whose_instant_cannot_be_read_is_asked_about_all_the_same(heard, store):
    before = heard.client.get("/v1/swap-list").get_json()["breakages"]
    damage(store, "breakage_doubts.at")

    after = heard.client.get("/v1/swap-list").get_json()["breakages"]

    assert [one["machine"] for one in after] == [one["machine"] for one in before]
    assert [one["sentence"].endswith("this is when it came.") for one in after] == [
        one["machine"] == "M2" for one in after
    ]
    assert "this is when it came" in text(heard.client, "/shift")


def test_a_gap_that_fails_is_told_and_leaves_the_others(heard, monkeypatch):
    before, nothing = rows(heard.client, "/v1/feed-gaps")
    assert nothing == []
    fail(monkeypatch, show_feeds, "show_gap", lambda tx, gap: gap.machine == "M2")

    after, problems = rows(heard.client, "/v1/feed-gaps")

    assert after == [row for row in before if names_machine(row, "M1")]
    assert after
    (problem,) = problems
    assert problem.startswith("The gaps in the data of machine M2 could not be worked out")


def test_a_run_whose_start_cannot_be_read_is_told_on_its_machine(heard, store):
    before = text(heard.client, "/machines/M1")
    damage(store, "runs.start_at", "M1")

    after = text(heard.client, "/machines/M1")
    other = text(heard.client, "/machines/M2")

    why = "Which run is on machine M1 could not be worked out"
    assert (why in before, why in after, why in other) == (False, True, False)
    assert "This machine has no run" not in after
    assert before.count('<span class="name">') == after.count('<span class="name">') > 0


def test_a_first_fact_whose_instant_cannot_be_read_leaves_the_tools_told(heard, store):
    before = text(heard.client, "/v1/mtconnect/assets")
    spoil(store, "facts.recorded_at", "id = (SELECT min(id) FROM facts)")

    after = text(heard.client, "/v1/mtconnect/assets")

    assert after.count("<CuttingTool ") == before.count("<CuttingTool ") > 0


@pytest.mark.parametrize("value", [BEYOND, "x"])
@pytest.mark.parametrize("place", ["facts.recorded_at", "count_refusals.reading"])
def test_a_count_kept_aside_is_shown_though_its_time_cannot_be_read(
    heard, bench, store, place, value
):
    heard.client.post(
        "/v1/counts",
        json={"machine": "M1", "readings": [{"at": "2026-01-05T09:00:00Z", "count": 9_000}]},
    )
    waiting = heard.client.get("/v1/refused-counts?open=yes").get_json()["items"]
    before = text(heard.client, "/shift/counts-aside")
    where = {
        "facts": f"id = {waiting[0]['batch_id']}",
        "count_refusals": f"id = {waiting[0]['id']}",
    }
    spoil(store, place, where[place.split(".")[0]], value)

    after = text(heard.client, "/shift/counts-aside")

    assert before.count('id="count-') == after.count('id="count-') > 0
    assert text(heard.client, "/v1/forecasts")


@pytest.mark.parametrize("place", ["facts.at", "question_dismissals.since"])
def test_a_dismissed_question_is_shown_though_its_time_cannot_be_read(
    heard, bench, store, place
):
    body = {"question": 1, "by": "B1", "note": "Looked at both."}
    fact = bench.post("/v1/question-dismissals", **body)["fact"]
    before = text(heard.client, "/shift/questions")
    column = "id" if place.startswith("facts") else "fact_id"
    spoil(store, place, f"{column} = {fact}")

    after = text(heard.client, "/shift/questions")

    assert "Looked at both." in before
    assert "Looked at both." in after
    assert "time not known" in after


def test_a_judged_count_is_shown_though_the_time_of_its_verdict_cannot_be_read(
    heard, bench, store
):
    bench.post(
        "/v1/counts",
        202,
        machine="M1",
        readings=[{"at": "2026-01-05T09:00:00Z", "count": 9_000}],
    )
    refusal = heard.client.get("/v1/refused-counts").get_json()["items"][0]["id"]
    body = {"refusal": refusal, "verdict": "discarded", "by": "B3"}
    fact = bench.post("/v1/count-verdicts", **body)["fact"]
    spoil(store, "facts.at", f"id = {fact}")

    after = text(heard.client, "/shift/counts-aside")

    assert f'id="judged-{refusal}-h"' in after
    assert "time not known" in after


def test_a_lag_that_is_no_number_is_not_told(heard, store):
    spoil(store, "feeds.lag_us", "machine_id = 2", "x")

    first, second = heard.client.get("/v1/feeds").get_json()["items"]

    assert (first["machine"], second["machine"], second["lag_s"]) == ("M1", "M2", None)
    for path in VIEWS:
        answer = heard.client.get(path)
        assert answer.status_code == (503 if path == "/v1/feeds/health" else 200), path
