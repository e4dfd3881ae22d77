"""What may not be, and the sentence that says so; nothing is left behind."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient
from sqlalchemy import event

from api.problems import PROBLEM_TYPE, TABLE, row_of, rows_by_kind
from crib.errors import Refusal


def _problem(answer: Any, status: int, kind: str) -> dict[str, Any]:
    assert answer.status_code == status, answer.get_data(as_text=True)
    assert answer.content_type == PROBLEM_TYPE
    body: dict[str, Any] = answer.get_json()
    assert body["type"] == f"/problems/{kind}"
    assert body["status"] == status
    assert body["title"]
    assert body["detail"]
    return body


def _every(kind: type[Refusal]) -> Iterator[type[Refusal]]:
    yield kind
    for below in kind.__subclasses__():
        yield from _every(below)


@pytest.mark.parametrize("kind", sorted(set(_every(Refusal)), key=lambda kind: kind.kind))
def test_every_refusal_has_its_row_and_its_page(
    client: FlaskClient, kind: type[Refusal]
) -> None:
    assert kind in TABLE

    answer = client.get(f"/problems/{kind.kind}")

    assert answer.status_code == 200
    assert row_of(kind).title in answer.get_data(as_text=True)


def test_every_kind_of_problem_is_listed(client: FlaskClient) -> None:
    text = client.get("/problems").get_data(as_text=True)

    assert all(f"/problems/{kind}" in text for kind in rows_by_kind())


def test_a_mistyped_code_is_told_from_an_unknown_one(client: FlaskClient) -> None:
    mistyped = client.get("/v1/scan/A00001P")
    unknown = client.get("/v1/scan/A00001O")

    assert "check character" in _problem(mistyped, 404, "bad-code")["detail"]
    _problem(unknown, 404, "not-known")


def test_a_count_in_the_future_and_one_a_little_ahead(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    readings = [
        {"at": (clock.at + timedelta(minutes=minutes)).isoformat(), "count": count}
        for minutes, count in ((4.9, 1), (5.1, 2))
    ]

    done = bench.post("/v1/counts", 202, machine="M1", readings=readings)

    assert done["accepted"] == 1
    assert [(row["index"], row["reason"]) for row in done["refused"]] == [(1, "in_future")]


def test_a_fact_in_the_future_is_refused(client: FlaskClient, clock: Any) -> None:
    at = (clock.at + timedelta(minutes=6)).isoformat()

    answer = client.post("/v1/stops", json={"machine": "M1", "reason": "x", "at": at})

    body = _problem(answer, 409, "contradiction")
    assert "clock" in body["detail"]
    assert body["errors"][0]["field"] == "at"


def test_counts_of_an_unknown_machine(client: FlaskClient) -> None:
    readings = [{"at": "2026-01-05T07:00:00Z", "count": 1}]

    answer = client.post("/v1/counts", json={"machine": "M9", "readings": readings})

    _problem(answer, 404, "not-known")


def test_one_reading_too_many(client: FlaskClient, rows: Callable[[str], int]) -> None:
    readings = [{"at": "2026-01-05T07:00:00Z", "count": 1}] * 50_001

    answer = client.post("/v1/counts", json={"machine": "M1", "readings": readings})

    assert "50001" in _problem(answer, 422, "invalid")["detail"]
    assert rows("count_readings") == 0


@pytest.mark.parametrize("readings", [[], None, {}, "x", [1], [{"at": "x", "hour": 1}]])
def test_readings_that_are_none(client: FlaskClient, readings: Any) -> None:
    answer = client.post("/v1/counts", json={"machine": "M1", "readings": readings})

    assert _problem(answer, 422, "invalid")["errors"]


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"   ",
        b'{"machine": "M1", "readings": [{"at": ',
        b'{"machine": NaN}',
        b'{"machine": 1e400}',
        b'{"machine": Infinity}',
        b'{"machine": "\\ud800"}',
        b'{"machine": "M1", "machine": "M2"}',
        b'{"machine": "\xff"}',
        b"[" * 5_000,
    ],
)
def test_half_a_body_is_no_body(client: FlaskClient, raw: bytes) -> None:
    answer = client.post("/v1/stops", data=raw, content_type="application/json")

    _problem(answer, 400, "half-json")


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        (b'{"tolerance_mm": NaN, "readings_mm": [1]}', "tolerance_mm"),
        (b'{"tolerance_mm": 1, "readings_mm": [1, -Infinity, NaN]}', "readings_mm.1"),
        (b'{"readings_mm": [1], "tolerance_mm": 1e400}', "tolerance_mm"),
    ],
)
def test_what_is_no_number_is_named_by_its_field(
    client: FlaskClient, raw: bytes, field: str
) -> None:
    answer = client.post("/v1/workings/preset", data=raw, content_type="application/json")

    _problem(answer, 400, "half-json")
    found = answer.get_json()
    assert [one["field"] for one in found["errors"]] == [field]
    assert found["detail"].startswith(f"{field} is not a finite number")


@pytest.mark.parametrize("raw", ["[]", '"x"', "7", "null", "true"])
def test_a_body_that_is_no_object(client: FlaskClient, raw: str) -> None:
    answer = client.post("/v1/stops", data=raw, content_type="application/json")

    _problem(answer, 422, "invalid")


def test_a_body_of_another_type(client: FlaskClient) -> None:
    body = _problem(client.post("/v1/stops", data={"machine": "M1"}), 415, "not-json")

    assert "application/json" in body["detail"]


def test_a_body_that_is_too_large(client: FlaskClient) -> None:
    answer = client.post(
        "/v1/stops", data=b"x" * (17 * 1024 * 1024), content_type="application/json"
    )

    _problem(answer, 413, "too-large")


def test_a_name_that_the_address_does_not_know(client: FlaskClient) -> None:
    answer = client.get("/v1/stations?maschine=M1")

    assert _problem(answer, 422, "invalid")["errors"][0]["parameter"] == "maschine"


def test_a_parameter_that_is_given_twice(client: FlaskClient) -> None:
    _problem(client.get("/v1/stations?limit=1&limit=2"), 422, "invalid")


@pytest.mark.parametrize("value", ["0", "1001", "x", "1.5", "-1", "١", "9" * 30, ""])
def test_a_limit_that_is_none(client: FlaskClient, value: str) -> None:
    _problem(client.get("/v1/stations", query_string={"limit": value}), 422, "invalid")


def test_an_address_that_is_not_there(client: FlaskClient) -> None:
    _problem(client.get("/v1/nothing"), 404, "no-such-address")
    _problem(client.get("/v1/kits/x"), 404, "no-such-address")


def test_a_method_that_is_not_taken_says_which_are(client: FlaskClient) -> None:
    answer = client.delete("/v1/mounts")

    _problem(answer, 405, "method-not-allowed")
    assert answer.headers["Allow"] == "GET, HEAD, OPTIONS, POST"


@pytest.mark.parametrize(
    "value", [12.3456, 12, True, "NaN", "1e400", "12.34567", "1,5", "٣", "", "x" * 5_000]
)
def test_an_exact_length_is_decimal_text(client: FlaskClient, value: Any) -> None:
    answer = client.post(
        "/v1/corrections",
        json={"station": "M1/T01", "axis": "X", "change_mm": value, "kind": "size"},
    )

    errors = _problem(answer, 422, "invalid")["errors"]
    assert errors[0]["pointer"] == "#/change_mm"


def test_a_length_in_mm_is_not_taken_for_inches(client: FlaskClient) -> None:
    body = {"station": "M1/T01", "axis": "X", "change_mm": "0.01", "kind": "size"}

    answer = client.post("/v1/corrections?length_unit=in", json=body)

    assert "_in" in _problem(answer, 409, "contradiction")["detail"]
    both = body | {"change_in": "0.001"}
    _problem(client.post("/v1/corrections?length_unit=in", json=both), 422, "invalid")
    _problem(client.post("/v1/corrections", json=both), 422, "invalid")


@pytest.mark.parametrize("value", [10**30, 1.5, "5", True, -1, 2**63])
def test_a_part_count_is_a_whole_number(client: FlaskClient, value: Any) -> None:
    body = {"station": "M1/T01", "reason": "size", "part_count": value}

    answer = client.post("/v1/removals", data=json.dumps(body), content_type="application/json")

    assert _problem(answer, 422, "invalid")["errors"][0]["field"] == "part_count"


def test_empty_readings_and_a_sharp_turning_insert(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    path = f"/v1/assemblies/{bench.build()['code']}/presets"
    sharp = [{"lf_mm": "80", "wf_mm": "16", "re_mm": "0"}]

    for readings in ([], [{"lf_mm": "80", "wf_mm": None}]):
        _problem(client.post(path, json={"readings": readings}), 422, "invalid")
    for readings in ([{}], sharp):
        _problem(client.post(path, json={"readings": readings}), 409, "contradiction")

    assert rows("presets") == 0


@pytest.mark.parametrize("at", ["2026-01-05T07:00:00", "2026-02-30T07:00:00Z", "now", 7, ""])
def test_an_instant_has_an_offset(client: FlaskClient, at: Any) -> None:
    answer = client.post("/v1/stops", json={"machine": "M1", "reason": "x", "at": at})

    assert _problem(answer, 422, "invalid")["errors"][0]["field"] == "at"


def test_every_bad_field_is_named_at_once(client: FlaskClient) -> None:
    answer = client.post("/v1/mounts", json={"part_count": -1, "colour": "red"})

    errors = _problem(answer, 422, "invalid")["errors"]
    assert {error["field"] for error in errors} == {
        "station",
        "assembly",
        "part_count",
        "colour",
    }


def test_a_view_of_the_future_is_refused(client: FlaskClient) -> None:
    _problem(client.get("/v1/forecasts?as_of=2031-01-01T00:00:00Z"), 409, "contradiction")


@pytest.mark.parametrize("hours", ["0", "-1", "721", "nan", "inf", "1e400", "1_0", "x"])
def test_a_horizon_that_cannot_be_meant(client: FlaskClient, hours: str) -> None:
    _problem(client.get(f"/v1/swap-list?hours={hours}"), 422, "invalid")


@pytest.mark.parametrize("key", ["", " ", "a b", "x" * 201, "ä"])
def test_a_key_is_printable_text(client: FlaskClient, key: str) -> None:
    answer = client.post(
        "/v1/stops",
        json={"machine": "M1", "reason": "x"},
        headers={"Idempotency-Key": key.encode().decode("latin-1")},
    )

    _problem(answer, 422, "invalid")


def test_names_keep_quotes_emoji_and_right_to_left_text(client: FlaskClient) -> None:
    name = 'Ида "the drill" O\'Brien 🔧 أداة <b>&amp;'

    made = client.post("/v1/holders", json={"holder": name, "holder_type": "SQ12-CN"})

    assert made.status_code == 201
    assert client.get(made.headers["Location"]).get_json()["holder"] == name
    page = client.get(f"/C/{made.get_json()['code']}").get_data(as_text=True)
    assert "<b>" not in page
    assert "🔧" in page


def test_a_fault_gives_an_id_and_nothing_else(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("secret path /srv/x")

    monkeypatch.setattr("api.rest.bench.report_stop", broken)

    answer = client.post("/v1/stops", json={"machine": "M1", "reason": "x"})

    body = _problem(answer, 500, "fault")
    assert "secret" not in answer.get_data(as_text=True)
    assert body["id"] in caplog.text
    assert "ZeroDivisionError" in caplog.text


def test_a_full_disk_says_that_nothing_was_recorded(
    client: FlaskClient, store: Any, rows: Callable[[str], int]
) -> None:
    with store.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()

    def limit(driver: Any, _record: object) -> None:
        driver.execute(f"PRAGMA max_page_count={pages}")

    event.listen(store.engine, "connect", limit)
    store.engine.dispose()
    note = "x" * 500
    answers = [
        client.post("/v1/stops", json={"machine": "M1", "reason": note, "note": note})
        for _ in range(200)
    ]

    full = [answer for answer in answers if answer.status_code != 201]
    assert full
    _problem(full[0], 507, "store-full")
    assert rows("stops") == len(answers) - len(full)
