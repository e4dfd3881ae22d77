"""Several at once against a real server of two processes: the database lets one win."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from types import SimpleNamespace
from typing import Any

import pytest

from crib.records.catalogue import HOLDERS
from crib.store.checking import check
from crib.store.engine import Store
from crib.store.records import insert_record

READINGS = [{"lf_mm": "80.001", "wf_mm": "16.0103", "re_mm": "0.8"} for _ in range(3)]
CHECKS = [{"lf_mm": "100.0001", "wf_mm": "50.0000"}, {"lf_mm": "100.0000", "wf_mm": "50.0001"}]
ROUNDS = 4


@pytest.fixture
def server(store: Store, shop: SimpleNamespace, start_server: Callable[..., Any]) -> Any:
    """Two processes over the small shop, with holders for eight tools and a checked gauge."""
    with store.write() as tx:
        for number in range(8):
            insert_record(tx, HOLDERS, {"holder": f"RH-{number}", "holder_type": "SQ12-CN"})
    server = start_server(store.url, workers=2)
    server.post("/v1/gauge-checks", gauge="PG-1", readings=CHECKS * 5)
    return server


def _ready(server: Any, number: int) -> str:
    built = server.post(
        "/v1/assemblies", tool_spec="TURN-OD", holder=f"RH-{number}", lot="LOT-I1"
    )
    path = f"/v1/assemblies/{built['code']}/presets"
    return str(server.post(path, gauge="PG-1", readings=READINGS)["assembly"])


def _at_once(server: Any, path: str, bodies: list[Any], key: str | None = None) -> list[Any]:
    """Post all bodies from threads of their own that start together."""
    start = Barrier(len(bodies))

    def post(body: Any) -> Any:
        start.wait()
        answer = server.ask("POST", path, body, key)
        while answer.status == 503:  # too busy: nothing was recorded, as a client does it again
            answer = server.ask("POST", path, body, key)
        return answer

    with ThreadPoolExecutor(len(bodies)) as threads:
        return list(threads.map(post, bodies))


def _open_mounts(store: Store) -> list[tuple[int, int]]:
    """Station and assembly of every open mount, from the facts; proven by the states."""
    with store.read() as tx:
        mounts = tx.exec_driver_sql(
            "SELECT station_id, assembly_id FROM mounts WHERE fact_id NOT IN"
            " (SELECT reverses_id FROM facts WHERE reverses_id IS NOT NULL)"
        ).fetchall()
        states = tx.exec_driver_sql(
            "SELECT station_id, assembly_id FROM station_state WHERE assembly_id IS NOT NULL"
        ).fetchall()
    assert sorted(mounts) == sorted(states)
    return [tuple(row) for row in mounts]


@pytest.mark.parametrize("many", [2, 8])
def test_of_many_mounts_into_one_station_one_is_recorded(
    many: int, server: Any, store: Store
) -> None:
    codes = [_ready(server, number) for number in range(many)]
    bodies = [{"station": "M1/T01", "assembly": code} for code in codes]

    for _ in range(ROUNDS):
        answers = _at_once(server, "/v1/mounts", bodies)

        statuses = Counter(answer.status for answer in answers)
        assert statuses == {201: 1, 409: many - 1}
        refused = [answer.json for answer in answers if answer.status == 409]
        assert all("M1/T01" in body["detail"] or body["errors"] for body in refused)
        assert len(_open_mounts(store)) == 1
        won = next(answer.json for answer in answers if answer.status == 201)
        holds = server.get("/v1/scan/M1/T01")["station"]["holds"]
        assert holds["code"] == won["assembly"]
        server.post("/v1/reversals", fact=won["fact"], by="B3", note="next round")


def test_one_tool_does_not_come_into_two_stations(server: Any, store: Store) -> None:
    code = _ready(server, 0)
    bodies = [{"station": station, "assembly": code} for station in ("M1/T01", "M2/T01")]

    for _ in range(ROUNDS):
        answers = _at_once(server, "/v1/mounts", bodies * 2)

        assert Counter(answer.status for answer in answers) == {201: 1, 409: 3}
        assert len(_open_mounts(store)) == 1
        won = next(answer.json for answer in answers if answer.status == 201)
        server.post("/v1/reversals", fact=won["fact"], by="B3", note="next round")


def test_a_key_that_comes_eight_times_at_once_makes_one_fact(server: Any, store: Store) -> None:
    body = {"machine": "M2", "reason": "bar feeder jammed", "by": "B2"}

    for turn in range(ROUNDS):
        answers = _at_once(server, "/v1/stops", [body] * 8, key=f"press-{turn}")

        assert {answer.status for answer in answers} == {201}
        assert len({answer.body for answer in answers}) == 1
        assert len(server.get("/v1/stops?machine=M2")["items"]) == turn + 1


def test_two_processes_that_show_one_forecast_keep_it_once(server, store):
    server.post("/v1/mounts", station="M1/T01", assembly=_ready(server, 0))

    for _ in range(12):  # both processes answer
        assert len(server.get("/v1/forecasts")["items"]) == 1

    until = time.monotonic() + 300
    while not (kept := server.get("/v1/forecasts-kept")["items"]):
        assert time.monotonic() < until, "what was shown is not kept"
    assert [row["occasion"] for row in kept] == ["shift"]
    assert check(store) == []
