"""One way to push all that is observed of a machine: counts, states, tools, breakages."""

from __future__ import annotations

from datetime import timedelta
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.clock import print_instant
from crib.store.engine import Store

EXAMPLE = Path(__file__).parents[2] / "api" / "static" / "pulse_counter.py"


@pytest.fixture
def observed(client: FlaskClient, shop: SimpleNamespace, clock: Any) -> Any:
    """Post observations as (minute, members)."""

    def post(*told: tuple[float, dict[str, Any]], key: str | None = None) -> Any:
        observations = [
            {"at": print_instant(shop.start + timedelta(minutes=minutes)), **members}
            for minutes, members in told
        ]
        clock.at = max(clock.at, shop.start + timedelta(hours=9))
        return client.post(
            "/v1/observations",
            json={"machine": "M1", "observations": observations},
            headers={} if key is None else {"Idempotency-Key": key},
        )

    return post


def rows(store: Store, sql: str) -> list[tuple[Any, ...]]:
    with store.read() as tx:
        return [tuple(row) for row in tx.exec_driver_sql(sql)]


def test_counts_states_and_tools_take_the_road_of_the_feeds(
    observed: Any, store: Store, client: FlaskClient
) -> None:
    answer = observed(
        (2, {"count": 102, "state": "ACTIVE", "path": "1"}),
        (0, {"count": 100, "state": "READY", "path": "1"}),
        (3, {"tool_number": 4, "tool_asset": "TL-1", "path": "1"}),
    )

    assert answer.status_code == 202
    assert (answer.get_json()["accepted"], answer.get_json()["refused"]) == (2, [])
    assert rows(store, "SELECT count, total FROM count_readings ORDER BY at") == [
        (100, 100),
        (102, 102),
    ]
    now = dict(rows(store, "SELECT kind, value FROM machine_now"))
    assert now == {"EXECUTION": "ACTIVE", "TOOL_NUMBER": "4", "TOOL_ASSET_ID": "TL-1"}
    (feed,) = client.get("/v1/feeds").get_json()["items"]
    assert (feed["machine"], feed["source"]) == ("M1", "http")


def test_the_same_again_changes_nothing(observed: Any, store: Store) -> None:
    told = [(float(n), {"count": 100 + n}) for n in range(5)]
    first = observed(*told, key="once").get_json()
    again = observed(*told, key="once").get_json()
    anew = observed(*told).get_json()

    assert first == again
    assert (first["accepted"], anew["accepted"], anew["duplicates"]) == (5, 0, 5)


def test_what_cannot_be_meant_is_named_by_its_place_and_the_rest_is_taken(
    observed: Any,
) -> None:
    answer = observed(
        (0, {"count": 100}),
        (1, {}),
        (2, {"count": -4}),
        (3, {"tool_number": "four"}),
        (100_000, {"state": "ACTIVE"}),
        (4, {"count": 103}),
    ).get_json()

    assert answer["accepted"] == 2
    assert [(row["index"], row["reason"]) for row in answer["refused"]] == [
        (1, "not_readable"),
        (2, "negative"),
        (3, "not_readable"),
        (4, "in_future"),
    ]


def test_a_breakage_without_a_tool_is_asked_about(observed: Any, client: FlaskClient) -> None:
    assert observed((1, {"breakage": "spindle load"})).status_code == 202

    (question,) = client.get("/v1/questions").get_json()["items"]
    assert question["machine"] == "M1"


def test_counts_of_two_paths_are_refused_whole(observed: Any, store: Store) -> None:
    answer = observed((0, {"count": 5, "path": "1"}), (1, {"count": 9, "path": "2"}))

    assert answer.status_code == 409
    assert "more than one path" in answer.get_data(as_text=True)
    assert rows(store, "SELECT * FROM count_readings") == []


@pytest.mark.parametrize("wrong", [[], [3], [{"at": "x", "colour": 1}]])
def test_what_is_no_list_of_observations_is_refused(client: FlaskClient, wrong: Any) -> None:
    body = {"machine": "M1", "observations": wrong}
    assert client.post("/v1/observations", json=body).status_code == 422


def test_the_worked_example_counts_each_pulse_once_whatever_fails(
    client: FlaskClient, store: Store, clock: Any, tmp_path: Path
) -> None:
    spec = spec_from_file_location("pulse_counter", EXAMPLE)
    assert spec is not None
    assert spec.loader is not None
    example: Any = module_from_spec(spec)
    spec.loader.exec_module(example)
    path, begin = tmp_path / "count.json", clock.at

    def lost(_: object) -> None:
        raise OSError("no route")

    def arrives(batch: list[Any]) -> None:
        body = {"machine": "M1", "observations": batch}
        assert client.post("/v1/observations", json=body).get_json()["refused"] == []

    def arrives_without_an_answer(batch: list[Any]) -> None:
        arrives(batch)
        raise TimeoutError

    for n in range(12):
        state = example.load(path)  # as after a restart
        clock.at = begin + timedelta(minutes=n)
        example.pulse(state, clock.at)
        example.keep(path, state)
        way = (lost, arrives_without_an_answer, arrives)[n % 3]
        assert example.send(path, state, way) == (way is arrives)

    assert rows(store, "SELECT max(total) - min(total), count(*) FROM count_readings") == [
        (11, 12)
    ]


def test_the_page_shows_the_example_with_its_cautions(client: FlaskClient) -> None:
    page = client.get("/shift/feeds/without-agent").get_data(as_text=True)

    assert "Never connect to a safety circuit" in page
    assert "def pulse(state" in page
    assert "/shift/feeds/without-agent" in client.get("/shift/feeds").get_data(as_text=True)


def test_counts_of_paths_that_have_their_counters_are_booked_apart(
    observed: Any, client: FlaskClient, shop: SimpleNamespace, store: Store
) -> None:
    number = shop.ids["machines"]["M1"]
    known = {"If-Match": client.get(f"/v1/machines/{number}").headers["ETag"]}
    wrong = {"path_counters": "1:main|1:sub"}
    told = client.patch(f"/v1/machines/{number}", json=wrong, headers=known)
    assert told.status_code == 409
    assert "path 1 twice" in str(told.json)
    right = client.patch(
        f"/v1/machines/{number}",
        json={"path_counters": "1:main|2:sub*2"},
        headers=known,
    )
    assert right.json["path_counters"] == "1:main|2:sub*2"

    answer = observed(
        (0, {"count": 100, "path": "1"}), (0, {"count": 7, "path": "2"}), (1, {"count": 8})
    )
    assert (answer.status_code, answer.json["accepted"]) == (202, 2)
    assert [(row["index"], row["reason"]) for row in answer.json["refused"]] == [(2, "no_path")]
    at = print_instant(shop.start + timedelta(minutes=2))
    posted = client.post(
        "/v1/counts",
        json={"machine": "M1", "readings": [{"at": at, "count": 9, "path": 2}]},
    )
    assert (posted.status_code, posted.json["accepted"]) == (202, 1)
    found = "SELECT path, count FROM count_readings ORDER BY path, at"
    assert rows(store, found) == [(1, 100), (2, 7), (2, 9)]
