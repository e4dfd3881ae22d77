"""A machine whose control takes inches: no sentence, page or answer mixes units."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

#: A figure in mm within a sentence or on a page.
IN_MM = re.compile(r"[-+±]?\d+(?:[.,]\d+)?\s*(?:mm|µm)\b(?!/)")
#: A figure in inches has the places of the control's step: 0.0001 in.
IN_INCHES = re.compile(r"[-+]?\d+\.(\d+) in\b")


@pytest.fixture
def inch_bench(client: FlaskClient, bench: SimpleNamespace) -> SimpleNamespace:
    """The small shop with controls in inches that take steps of 0.0001 in."""
    for machine in ("M1", "M2"):
        answer = client.patch(
            f"/v1/machines/{machine}",
            json={"offset_unit": "in", "offset_increment_mm": "0.0025"},
            headers={"If-Match": "*"},
        )
        assert answer.status_code == 200, answer.get_data(as_text=True)
    return bench


def _step(bench: SimpleNamespace, change: str, kind: str, axis: str = "X") -> dict[str, Any]:
    path = "/v1/corrections?length_unit=in"
    found: dict[str, Any] = bench.post(
        path, station="M1/T01", axis=axis, change_in=change, kind=kind
    )
    return found


def _swap(bench: SimpleNamespace, clock: Any) -> None:
    bench.post("/v1/removals", station="M1/T01", reason="worn_as_planned")
    clock.go_on(minutes=5)
    code = bench.measure(bench.build()["code"])["assembly"]
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(minutes=5)


def _only_inches(sentence: str) -> None:
    assert not IN_MM.search(sentence), sentence
    assert all(len(places) == 4 for places in IN_INCHES.findall(sentence)), sentence


def test_what_a_step_tells_is_in_the_unit_of_its_control(
    inch_bench: SimpleNamespace, clock: Any
) -> None:
    inch_bench.post("/v1/mounts", station="M1/T01", assembly=inch_bench.ready())
    told = [_step(inch_bench, "0.0010", "first_off"), _step(inch_bench, "-0.0004", "size")]
    _swap(inch_bench, clock)
    told.append(_step(inch_bench, "0.0012", "first_off"))
    _swap(inch_bench, clock)
    told.append(_step(inch_bench, "0.0400", "first_off"))  # held apart
    _swap(inch_bench, clock)
    told.append(_step(inch_bench, "0.0404", "first_off"))  # taken as a step
    wild = _step(inch_bench, "-0.0900", "size")

    sentences = [one["learned"] for one in (*told, wild)]
    sentences += [one["datum"]["sentence"] for one in told if one["datum"]]
    for sentence in sentences:
        _only_inches(sentence)
        assert IN_INCHES.search(sentence), sentence
    assert sentences[0].startswith("X of station M1/T01 lay +0.0010 in on diameter off")
    assert (
        "come to -0.0004 in on diameter: wear has changed the part by 0.0004 in"
        in (sentences[1])
    )
    assert "held apart" in sentences[3]
    assert "taken as a step" in sentences[4]


def test_a_step_that_the_control_cannot_hold_is_refused_in_its_unit(
    client: FlaskClient, inch_bench: SimpleNamespace
) -> None:
    inch_bench.post("/v1/mounts", station="M1/T01", assembly=inch_bench.ready())
    body = {"station": "M1/T01", "axis": "X", "change_in": "0.00015", "kind": "size"}

    refused = client.post("/v1/corrections?length_unit=in", json=body)

    assert refused.status_code == 409
    _only_inches(refused.get_json()["detail"].replace("+0.000150 in", ""))
    assert "+0.000150 in" in refused.get_json()["detail"]


def test_another_nose_radius_is_told_in_the_unit_of_the_control(
    client: FlaskClient, inch_bench: SimpleNamespace
) -> None:
    client.patch(
        "/v1/tool-specs/TURN-OD", json={"nose_radius_mm": "0.4"}, headers={"If-Match": "*"}
    )
    code = inch_bench.ready()
    body = {"station": "M1/T01", "assembly": code}

    refused = client.post("/v1/mounts", json=body).get_json()

    told = [one["detail"] for one in refused.get("errors", ()) if "radius" in one["detail"]]
    assert told, refused
    for sentence in told:
        assert "0.01575 in" in sentence
        assert not IN_MM.search(sentence)


@pytest.mark.parametrize(
    ("pattern", "unit"), [(None, "in"), ("in LF {lf} WF {wf}", "in"), ("LF {lf} WF {wf}", "mm")]
)
def test_the_bench_speaks_in_the_unit_of_its_gauge_or_of_the_machines(
    client: FlaskClient, inch_bench: SimpleNamespace, pattern: str | None, unit: str
) -> None:
    if pattern:
        client.patch(
            "/v1/gauges/PG-1", json={"line_pattern": pattern}, headers={"If-Match": "*"}
        )
    inch_bench.check_gauge()
    code = inch_bench.build()["code"]
    far = inch_bench.measure(code, lf="81.5")
    readings = [
        {"lf_mm": lf, "wf_mm": "16"} for lf in ("80", "80.001", "80", "80.001", "80.04")
    ]
    odd = inch_bench.post(f"/v1/assemblies/{code}/presets", gauge="PG-1", readings=readings)
    readings = [{"lf_mm": "100.03", "wf_mm": "50"}, {"lf_mm": "100.031", "wf_mm": "50"}]
    off = inch_bench.post("/v1/gauge-checks", gauge="PG-1", readings=readings)
    study = client.get("/v1/gauges/PG-1/study").get_json()

    told = [*far["why_not"], *(one["outlier"]["sentence"] for one in odd["outliers"])]
    told += off["why_not"]
    assert len(told) >= 3, told
    other = IN_MM if unit == "in" else IN_INCHES
    for sentence in told:
        assert not other.search(sentence), sentence
        assert re.search(rf"\d {unit}\b", sentence), sentence
    if unit == "in":  # 81.5 / 25.4, with five places: 1 in = 25.4 mm exactly (1959)
        assert told[0].startswith("LF is 3.20866 in; the limits are 3.14173 in to 3.15748 in")
    assert not other.search(str(study["measures"]))


def test_a_calculation_in_inches_tells_its_sentences_in_inches(client: FlaskClient) -> None:
    readings = [3.15, 3.15, 3.1501, 3.15, 3.1540]
    repeats = client.post(
        "/v1/workings/preset?length_unit=in",
        json={"readings_in": readings, "tolerance_in": 0.002},
    ).get_json()
    study = client.post(
        "/v1/workings/gauge-study?length_unit=in",
        json={"readings_in": readings, "master_in": 3.14, "tolerance_width_in": 0.01},
    ).get_json()

    told = [repeats["outlier"]["sentence"], study["outlier"]["sentence"], *study["why_not"]]
    for sentence in told:
        assert not IN_MM.search(sentence), sentence
    assert "reading 5 (3.15400 in)" in told[0].lower()
    assert "reads +0.01082 in off the master; at most 0.00100 in" in told[2]


def _told(value: Any) -> list[str]:
    """Every text within an answer."""
    if isinstance(value, dict):
        return [one for inner in value.values() for one in _told(inner)]
    if isinstance(value, list):
        return [one for inner in value for one in _told(inner)]
    return [value] if isinstance(value, str) else []


def _words(page: str) -> str:
    bare = re.sub(r"<(script|style|annotation).*?</\1>", "", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", bare))


def test_no_page_and_no_answer_tells_mm_to_who_asks_for_inches(
    client: FlaskClient, inch_bench: SimpleNamespace, clock: Any
) -> None:
    """Every address without a name of its own in it, and those of one machine."""
    inch_bench.post("/v1/mounts", station="M1/T01", assembly=inch_bench.ready())
    _step(inch_bench, "0.0010", "first_off")
    _step(inch_bench, "-0.0004", "size")
    _swap(inch_bench, clock)
    _step(inch_bench, "0.0400", "first_off")
    client.set_cookie("crib_shown", "en.in.24")
    rules = client.application.url_map.iter_rules()
    named = {"machine": "M1", "station": "T01", "gauge": "PG-1"}
    paths = {"/v1/stations/M1/T01/datum", "/v1/gauges/PG-1/study"} | {
        re.sub(r"<(?:\w+:)?(\w+)>", lambda hole: named.get(hole[1], "-"), str(rule))
        for rule in rules
        if "GET" in (rule.methods or ()) and "/static" not in str(rule)
    }
    # they tell both units, and of files whose columns are in mm by their name
    paths -= {"/v1/openapi.json", "/v1/docs", "/help/shop-files"}
    seen, wrong = 0, []
    for path in sorted(paths):
        answer = client.get(path, query_string={"length_unit": "in"} if "/v1/" in path else {})
        if answer.status_code != 200:
            continue
        seen += 1
        if answer.is_json:
            texts = _told(answer.get_json())
        elif "html" in answer.content_type:
            texts = [_words(answer.get_data(as_text=True))]
        else:
            continue
        wrong += [(path, one[0]) for text in texts for one in IN_MM.finditer(text)]

    assert seen > 70
    assert wrong == []
