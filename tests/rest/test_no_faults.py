"""Whatever is sent, the service answers it: no input is a fault of ours."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

_QUIET = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

#: A body per write that is taken as it stands, or nearly.
BODIES: dict[str, dict[str, Any]] = {
    "/v1/assemblies": {"tool_spec": "TURN-OD", "holder": "TH-1", "lot": "LOT-I1", "edge": 1},
    "/v1/assemblies/TH-1/presets": {
        "gauge": "PG-1",
        "readings": [{"lf_mm": "80", "wf_mm": "16"}],
    },
    "/v1/assemblies/TH-1/teardown": {"reason": "x"},
    "/v1/assemblies/TH-1/label-prints": {"stock": "roll-62x29", "reason": "torn"},
    "/v1/assemblies/TH-1/rack-places": {"machine": "M1", "place": "2"},
    "/v1/mounts": {"station": "M1/T01", "assembly": "TH-1", "part_count": 7, "scanned": {}},
    "/v1/removals": {"station": "M1/T01", "reason": "size", "flank_wear_mm": "0.1"},
    "/v1/corrections": {"station": "M1/T01", "axis": "X", "change_mm": "0.01", "kind": "size"},
    "/v1/counts": {"machine": "M1", "readings": [{"at": "2026-01-05T07:00:00Z", "count": 1}]},
    "/v1/gauge-checks": {"gauge": "PG-1", "readings": [{"lf_mm": "100", "wf_mm": "50"}]},
    "/v1/stock-moves": {"lot": "LOT-I1", "move": "issue", "quantity": 1},
    "/v1/regrinds": {"lot": "LOT-D1", "piece": 1},
    "/v1/stops": {"machine": "M1", "reason": "x", "ends_at": "2026-01-05T07:00:00Z"},
    "/v1/reversals": {"fact": 1},
    "/v1/labels.pdf": {"codes": ["TH-1"], "stock": "roll-62x29", "start": 1},
    "/v1/machines": {"machine": "M9", "offset_increment_mm": "0.001"},
    "/v1/parts": {
        "part": "P",
        "material": "m",
        "material_group": "P",
        "cycle_s": 1,
        "operations": [],
    },
    "/v1/calendars": {"calendar": "c", "spans": []},
    "/v1/closures": {
        "calendar": "weekdays",
        "start": "2026-12-24",
        "end": "2026-12-26T06:00",
        "kind": "closed",
    },
    "/v1/workings/gauge-study": {
        "readings_mm": [25.001, 25.002],
        "master_mm": 25.0,
        "tolerance_width_mm": 0.02,
    },
    "/v1/workings/gauge-drift": {
        "checks": [{"day": 0, "bias_mm": 0.0}, {"day": 1, "bias_mm": 0.001}],
        "limit_mm": 0.005,
    },
    "/v1/workings/gauge-line": {"pattern": "LF {lf} in", "line": "LF 1.0 in"},
    "/v1/workings/gauge-repeatability": {"values": [[[1.0, 2.0], [1.1, 2.1]]] * 2},
    "/v1/workings/uncertainty-budget": {
        "contributions": [
            {
                "name": "a",
                "value": 1.0,
                "distribution": "normal",
                "sensitivity": 2.0,
                "degrees_of_freedom": 3,
            }
        ],
        "level": 0.95,
    },
    "/v1/workings/station-datum": {
        "recorded_mm": 10.0,
        "looks_mm": [10.001, None, 10.2],
        "look_sd_mm": 0.002,
    },
    "/v1/workings/clock-time": {
        "parts": 500,
        "cycle_s": 45,
        "start_at": "2026-01-09T18:00:00Z",
        "time_zone": "Europe/Zurich",
        "windows": [{"weekday": "mon", "start": "06:00", "end": "24:00", "attended": True}],
        "closures": [{"start": "2026-12-24", "end": "2026-12-26T06:00", "kind": "closed"}],
        "unattended_share": 0.5,
    },
    "/v1/cutting-items": {
        "cutting_item": "c",
        "kind": "insert",
        "designation": "d",
        "price": "1",
    },
    "/v1/runs": {
        "machine": "M1",
        "part": "PIN-8",
        "quantity": 1,
        "start_at": "2026-01-05T07:00:00Z",
    },
}

_scalars = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(min_value=10**18, max_value=10**40)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=30)
    | st.sampled_from(
        [
            "1e400",
            "-0",
            "NaN",
            "9" * 400,
            "\x00",
            "2026-01-05T07:00:00Z",
            "0001-01-01T00:00:00+14:00",
            "9999-12-31T23:59:59-14:00",
            "A00001O",
            "TH-1",
            "M1/T01",
            "é" * 600,
            "99999.9999",
            "-5",
        ]
    )
)
_values = st.recursive(
    _scalars,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
    ),
    max_leaves=8,
)


def _spoiled(body: Any) -> st.SearchStrategy[Any]:
    """The body with one thing in it, however deep, put in the place of another."""
    places = list(_places(body))

    def spoil(drawn: tuple[tuple[Any, ...], Any]) -> Any:
        place, value = drawn
        copy = json.loads(json.dumps(body))
        inner = copy
        for step in place[:-1]:
            inner = inner[step]
        inner[place[-1]] = value
        return copy

    return st.tuples(st.sampled_from(places), _values).map(spoil)


def _places(body: Any) -> Any:
    if isinstance(body, dict):
        for name, inner in body.items():
            yield (name,)
            yield from ((name, *rest) for rest in _places(inner))
        for name in ("at", "by", "note", "strange"):
            yield (name,)
    elif isinstance(body, list):
        for index, inner in enumerate(body):
            yield (index,)
            yield from ((index, *rest) for rest in _places(inner))


@pytest.mark.parametrize("path", BODIES)
@_QUIET
@given(data=st.data(), unit=st.sampled_from(["", "?length_unit=in"]))
def test_no_body_is_a_fault(
    client: FlaskClient, path: str, data: st.DataObject, unit: str
) -> None:
    body = data.draw(_spoiled(BODIES[path]) | _values)

    answer = client.post(path + unit, data=json.dumps(body), content_type="application/json")

    assert answer.status_code < 500, (answer.get_data(as_text=True), body)
    if answer.status_code >= 400:
        assert answer.get_json()["detail"]


@_QUIET
@given(
    path=st.sampled_from(
        [
            "scan/{}",
            "assemblies/{}",
            "stations/{}",
            "people/{}",
            "life/{}",
            "kits/{}",
            "labels/{}.pdf",
            "parts/{}",
            "runs/{}",
            "mounts/{}",
        ]
    ),
    text=st.text(min_size=1, max_size=40)
    | st.sampled_from(["A00001O", "..", "M1/T01", "9" * 40]),
)
def test_no_name_in_an_address_is_a_fault(client: FlaskClient, path: str, text: str) -> None:
    answer = client.get("/v1/" + path.format(quote(text.encode(errors="replace"), safe="")))

    assert answer.status_code < 500, answer.get_data(as_text=True)


@_QUIET
@given(
    path=st.sampled_from(
        [
            "stations",
            "runs",
            "lots",
            "forecasts",
            "swap-list",
            "bench-queue",
            "audit",
            "mounts",
            "costs",
            "assemblies",
            "labels/TH-1.pdf",
            "shift-sheet.pdf",
        ]
    ),
    query=st.dictionaries(
        st.sampled_from(
            [
                "limit",
                "after",
                "as_of",
                "machine",
                "hours",
                "days",
                "by",
                "since",
                "kind",
                "stock",
                "start",
                "station",
                "paper",
                "length_unit",
                "quantity",
                "start_at",
                "received_on",
                "tool_number",
                "retired",
                "code",
                "open",
            ]
        ),
        st.text(max_size=20)
        | st.sampled_from(
            [
                "1",
                "nan",
                "1e400",
                "M1",
                "2026-01-05T07:00:00Z",
                "0001-01-01T00:00:00Z",
                "-1",
                "9" * 30,
            ]
        ),
        max_size=3,
    ),
)
def test_no_query_is_a_fault(client: FlaskClient, path: str, query: dict[str, str]) -> None:
    answer = client.get(f"/v1/{path}", query_string=query)

    assert answer.status_code < 500, (answer.get_data(as_text=True), query)


@_QUIET
@given(
    headers=st.fixed_dictionaries(
        {},
        optional={
            "If-Match": st.text(
                st.characters(min_codepoint=32, max_codepoint=255), max_size=20
            ),
            "If-None-Match": st.text(
                st.characters(min_codepoint=32, max_codepoint=255), max_size=20
            ),
            "Idempotency-Key": st.text(
                st.characters(min_codepoint=32, max_codepoint=255), max_size=20
            ),
        },
    )
)
def test_no_header_is_a_fault(
    client: FlaskClient, shop: SimpleNamespace, headers: dict[str, str]
) -> None:
    read = client.get("/v1/holders/TH-1", headers=headers)
    edited = client.patch("/v1/holders/TH-1", json={"location": "x"}, headers=headers)

    assert read.status_code < 500
    assert edited.status_code < 500
