"""What a machine does by its counts: it stands, goes past its quantity, has no known job."""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.store.engine import Store
from crib.store.feeds import NowRow, keep_now
from crib.store.resolve import machine_id_by_name
from tests.pages.reading import read, words
from tests.rest.conftest import SetClock


def post_counts(
    client: FlaskClient,
    clock: SetClock,
    counts: Sequence[tuple[str, int]],
    machine: str = "M1",
) -> None:
    """Post counts of (time, count) as they come; it is the time of the last one then."""
    hour, minute = counts[-1][0].split(":")
    clock.at = clock.at.replace(hour=int(hour), minute=int(minute))
    readings = [{"at": f"2026-01-05T{at}:00Z", "count": count} for at, count in counts]
    answer = client.post("/v1/counts", json={"machine": machine, "readings": readings})
    assert answer.status_code == 202
    assert answer.get_json()["refused"] == []


def plan(client: FlaskClient, machine: str = "M1") -> tuple[dict[str, Any], dict[str, Any]]:
    """The forecast of the machine's one tool, and the machine's next night."""
    found = client.get(f"/v1/forecasts?machine={machine}").get_json()
    (row,), (night,) = found["items"], found["nights"]
    return row, night


@pytest.fixture
def mounted(client: FlaskClient, bench: SimpleNamespace) -> FlaskClient:
    """The small shop at 08:00 with a tool of 800 parts in M1/T01, where PIN-8 runs."""
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    return client


def tell_execution(store: Store, value: str) -> None:
    """M1 says what it does, in a word of MTConnect's Execution (Part 2, from memory)."""
    with store.write() as tx:
        machine_id = machine_id_by_name(tx, "M1")
        keep_now(tx, machine_id, [NowRow("EXECUTION", "path1", 1, value)])


def test_a_machine_that_is_heard_without_parts_stands(
    mounted: FlaskClient, clock: SetClock, store: Store
) -> None:
    post_counts(mounted, clock, [("08:00", 0), ("09:00", 60)])
    runs, _ = plan(mounted)
    assert "stands" not in words(read(mounted, "/machines"))
    # heard all day, the last part at nine
    post_counts(mounted, clock, [(f"{hour:02}:40", 60) for hour in range(9, 20)])
    stands, night = plan(mounted)

    assert stands["share_used"] == pytest.approx(runs["share_used"])  # no part, no wear
    assert stands["parts_left"] == runs["parts_left"]
    assert stands["run_out_at"]["p50"] > "2026-01-06"  # not started again today
    assert stands["fail_probability"]["shift"] == 0
    assert (night["safe"], night["fail_probability"]) == (True, 0)
    assert night["sentence"].startswith("The machine stands:")
    hours = mounted.get("/v1/machines/M1/time-ahead?hours=9").get_json()["stretches"]
    assert {one["parts"] for one in hours} == {0}
    for address in ("/machines", "/machines/M1", "/shift", "/shift/feeds"):
        assert "stands" in words(read(mounted, address)), address
    unknown = "stands, no part for 10 h 40 min since 09:00, reason not known. Look at it."
    card = read(mounted, "/machines").select_one(".machine-line")
    assert "needs-now" in card["class"]
    for part in (card, read(mounted, "/machines/M1").main, read(mounted, "/shift").main):
        assert unknown in words(part)
    tell_execution(store, "FEED_HOLD")
    assert "since 09:00: feed hold. Look at it." in words(read(mounted, "/machines"))
    tell_execution(store, "ACTIVE")
    assert unknown in words(read(mounted, "/machines"))
    (feed,) = mounted.get("/v1/feeds?machine=M1").get_json()["items"]
    assert (feed["counted_at"], feed["last_part_at"]) == (
        "2026-01-05T19:40:00Z", "2026-01-05T09:00:00Z",
    )  # fmt: skip

    post_counts(mounted, clock, [("19:42", 62)])
    assert "stands" not in words(read(mounted, "/machines"))
    assert plan(mounted)[0]["run_out_at"]["p50"] < stands["run_out_at"]["p50"]


def test_a_pause_shorter_than_three_cycles_is_no_standing(
    client: FlaskClient, clock: SetClock
) -> None:
    part = {"part": "SLOW", "material": "1.4305", "material_group": "M", "cycle_s": 3_600}
    assert client.post("/v1/parts", json=part).status_code == 201
    run = {"machine": "M2", "part": "SLOW", "quantity": 90, "state": "running"}
    run["start_at"] = "2026-01-05T06:00:00Z"
    assert client.post("/v1/runs", json=run).status_code == 201
    post_counts(client, clock, [("06:00", 0), ("07:00", 1), ("09:50", 1)], machine="M2")
    assert "stands" not in words(read(client, "/machines"))
    post_counts(client, clock, [("10:20", 1)], machine="M2")
    assert "SLOW 1 of 90 stands, no part for" in words(read(client, "/machines"))


def test_a_run_past_its_quantity_says_so(client: FlaskClient, clock: SetClock) -> None:
    run = {"machine": "M2", "part": "PIN-8", "quantity": 50, "state": "running"}
    run["start_at"] = "2026-01-05T07:00:00Z"
    assert client.post("/v1/runs", json=run).status_code == 201
    post_counts(client, clock, [("07:00", 0), ("07:40", 50)], machine="M2")
    assert "past its quantity" not in words(read(client, "/shift"))
    post_counts(client, clock, [("08:00", 60)], machine="M2")
    for address in ("/machines", "/machines/M2", "/shift"):
        assert "10 parts past its quantity of 50" in words(read(client, address)), address


def test_parts_without_a_job_make_no_safe_night(
    client: FlaskClient, clock: SetClock, bench: SimpleNamespace
) -> None:
    bench.post("/v1/mounts", station="M2/T01", assembly=bench.ready())
    post_counts(client, clock, [("08:00", 0), ("09:00", 60)], machine="M2")
    found = client.get("/v1/forecasts?machine=M2").get_json()["nights"]
    (night,) = found
    assert (night["safe"], night["parts_without_job"]) == (False, 60)
    assert "60 parts without a job" in night["sentence"]
    said = words(read(client, "/shift").select_one("#nights"))
    assert "parts without a job" in said
    assert "Run all night" not in said
    assert "100.0 %" not in said


def test_once_the_night_has_begun_nobody_is_there_to_swap(
    mounted: FlaskClient, clock: SetClock
) -> None:
    # half an hour into the night of Zurich
    post_counts(mounted, clock, [("08:00", 0), ("20:50", 800), ("21:30", 840)])
    _, night = plan(mounted)
    assert night["begins_at"] == "2026-01-05T21:00:00Z"
    assert not night["safe"]
    assert night["answer"] in ("until", "stand")
    assert night["swaps"] == []
    assert f"Nobody is there until {night['ends_at']}." in night["answer_sentence"]
    assert "Stop" not in night["sentence"]
