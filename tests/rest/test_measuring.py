"""Stations' data, studies of gauges and the workings of the measuring room over HTTP."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient
from openapi_schema_validator import OAS31Validator


def _get(client: FlaskClient, path: str, template: str) -> dict[str, Any]:
    """An answer that has the shape which the documentation promises."""
    answer = client.get(path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    document = client.get("/v1/openapi.json").get_json()
    content = document["paths"][template]["get"]["responses"]["200"]["content"]
    schema = content["application/json"]["schema"] | {"components": document["components"]}
    found: dict[str, Any] = answer.get_json()
    assert [error.message for error in OAS31Validator(schema).iter_errors(found)] == []
    return found


def _compute(client: FlaskClient, name: str, body: Any, status: int = 200) -> Any:
    answer = client.post(f"/v1/workings/{name}", json=body)
    assert answer.status_code == status, answer.get_data(as_text=True)
    return answer.get_json()


def test_a_first_off_shows_in_the_stations_datum(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    mounted = bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    clock.go_on(minutes=5)
    learned = bench.post(
        "/v1/corrections", station="M1/T01", axis="x", change_mm="-0.030", kind="first_off"
    )

    shown = _get(client, "/v1/stations/M1/T01/datum", "/v1/stations/{code}/datum")

    assert mounted["datum"][0] | {"sentence": ""} == {
        "axis": "X",
        "recorded_mm": "10.0000",
        "datum_mm": pytest.approx(10.0),
        "expanded_uncertainty_mm": pytest.approx(0.1, rel=1e-5),
        # of a seat that nobody has seen the scatter is not known either
        "next_expanded_uncertainty_mm": pytest.approx(0.14, abs=0.01),
        "first_offs": 0,
        "walk_mm": mounted["datum"][0]["walk_mm"],
        "scatter_mm": mounted["datum"][0]["scatter_mm"],
        "doubtful": False,
        "held_mm": None,
        "sentence": "",
    }
    assert learned["axis"] == "X"
    assert learned["datum"]["datum_mm"] == pytest.approx(9.985, abs=0.001)
    x = shown["axes"][0]
    assert x["datum"] == learned["datum"]
    (look,) = x["history"]
    assert (look["verdict"], look["step_mm"], look["holder"]) == ("taken", "-0.0300", "TH-1")
    assert look["innovation_mm"] == pytest.approx(-0.015, abs=0.0005)  # rounded once
    before = _get(
        client,
        "/v1/stations/M1/T01/datum?as_of=2026-01-05T08:01:00Z",
        "/v1/stations/{code}/datum",
    )
    assert before["axes"][0]["datum"]["first_offs"] == 0
    assert client.get(f"/v1/stations/{shown['station_code']}/datum").get_json() == shown


def test_a_size_step_teaches_no_datum(bench: SimpleNamespace, clock: Any) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    clock.go_on(minutes=5)

    learned = bench.post(
        "/v1/corrections", station="M1/T01", axis="Z", change_mm="-0.010", kind="size"
    )

    assert learned["datum"] is None


@pytest.mark.parametrize(("axis", "slip"), [("X", "-9.000"), ("Z", "5.000")])
def test_a_size_step_of_millimetres_is_no_wear(
    bench: SimpleNamespace, clock: Any, axis: str, slip: str
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    clock.go_on(minutes=5)
    step = {"station": "M1/T01", "axis": axis, "kind": "size"}

    small = bench.post("/v1/corrections", **step, change_mm="-0.010")["learned"]
    large = bench.post("/v1/corrections", **step, change_mm=slip)["learned"]

    assert "more than wear makes" not in small
    assert "more than wear makes. Do not run on it" in large


def test_the_study_of_a_gauge_lays_its_checks_open(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    for day in range(5):
        readings = [
            {"lf_mm": f"{100.0002 + 0.0005 * day + off:.4f}", "wf_mm": "50.0000"}
            for off in (-0.0001, 0.0, 0.0001)
        ]
        checked = bench.post("/v1/gauge-checks", gauge="PG-1", readings=readings)
        clock.go_on(days=1)

    study = _get(client, "/v1/gauges/PG-1/study", "/v1/gauges/{code}/study")
    early = _get(
        client, "/v1/gauges/PG-1/study?as_of=2026-01-05T12:00:00Z", "/v1/gauges/{code}/study"
    )

    lf, wf = study["measures"]
    assert (lf["measure"], len(lf["checks"]), lf["readings"]) == ("LF", 5, 15)
    assert lf["bias_mm"] == pytest.approx(0.0022)
    assert lf["standard_deviation_mm"] == pytest.approx(0.0001)
    # T = 0.0050 / 0.1 = 0.05 mm: Cg = 0.2 T / 6 s, Cgk = (0.005 - 0.0022) / 3 s
    assert lf["cg"] == pytest.approx(0.01 / 0.0006)
    assert lf["cgk"] == pytest.approx(0.0028 / 0.0003)
    assert lf["drift"]["slope_mm_per_day"] == pytest.approx(0.0005)
    assert lf["drift"]["drifts"] is True
    # (0.005 - 0.0022) / 0.0005 = 5.6 days after the last check, on 9 January at 8:00
    assert lf["drift"]["used_up_at"].startswith("2026-01-14T22:24")
    assert wf["drift"]["drifts"] is False
    assert wf["cg"] is None
    assert checked["measures"][0]["drift"]["drifts"] is True
    assert early["measures"][0]["drift"] is None


def test_the_outlier_of_a_preset_is_named_and_stays_in_the_mean(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = bench.build()["code"]
    lengths = ("80.0010", "80.0012", "80.0310", "80.0011", "80.0012")

    done = bench.post(
        f"/v1/assemblies/{code}/presets",
        readings=[{"lf_mm": lf, "wf_mm": "16.0100"} for lf in lengths],
    )

    (named,) = done["outliers"]
    assert (named["measure"], named["outlier"]["reading"]) == ("LF", 3)
    assert "measure again" in named["outlier"]["sentence"]
    assert done["mean_mm"]["lf_mm"] == "80.0071"
    budgets = {one["measure"]: one["budget"] for one in done["budgets"]}
    assert [line["name"] for line in budgets["LF"]["lines"]] == [
        "repeats",
        "gauge and master",
        "resolution",
    ]
    assert budgets["LF"]["lines"][0]["degrees_of_freedom"] == 4
    # t for 4 degrees of freedom at 95.45 %: JCGM 100:2008, table G.2
    expanded_mm = done["expanded_uncertainty_mm"]["lf_mm"]
    assert expanded_mm == pytest.approx(2.87 * done["type_a_mm"]["lf_mm"], rel=0.02)
    assert budgets["LF"]["expanded_mm"] == expanded_mm


def test_a_study_by_itself(client: FlaskClient) -> None:
    body = {
        "readings_mm": [25.0012, 25.0009, 25.0011, 25.0014, 25.0010, 25.0008],
        "master_mm": 25.0005,
        "tolerance_width_mm": 0.02,
    }

    found = _compute(client, "gauge-study", body)

    assert (found["n"], found["valid"], found["outlier"]) == (6, True, None)
    assert found["bias_mm"] == pytest.approx(0.00056667, abs=1e-8)
    for bad in (
        body | {"tolerance_width_mm": 0},
        body | {"readings_mm": []},
        body | {"readings_mm": [1e9]},
        body | {"master_mm": "25"},
    ):
        _compute(client, "gauge-study", bad, 422)
    one = _compute(client, "gauge-study", body | {"readings_mm": [25.0006]})
    assert (one["standard_deviation_mm"], one["cg"]) == (None, None)


def test_a_drift_by_itself(client: FlaskClient) -> None:
    checks = [{"day": day, "bias_mm": 0.001 * day} for day in range(4)]

    found = _compute(client, "gauge-drift", {"checks": checks, "limit_mm": 0.005})

    assert found["drifts"] is True
    assert found["used_up_in_days"] == pytest.approx(2.0)
    same_day = [{"day": 1, "bias_mm": 0.0}] * 3
    problem = _compute(client, "gauge-drift", {"checks": same_day, "limit_mm": 0.005}, 409)
    assert "different times" in problem["detail"]


def test_a_study_of_people_and_pieces_by_itself(client: FlaskClient) -> None:
    found = _compute(
        client,
        "gauge-repeatability",
        {"values": [[[1.0, 2.0], [1.1, 2.1]], [[1.0, 2.1], [1.1, 2.0]]]},
    )

    # mean range 0.1 times 0.8862
    assert found["repeatability"] == pytest.approx(0.08862)
    _compute(client, "gauge-repeatability", {"values": [[[1.0, 2.0]]]}, 422)
    ragged = {"values": [[[1.0, 2.0], [1.0, 2.0, 3.0]], [[1.0, 2.0], [1.0, 2.0]]]}
    _compute(client, "gauge-repeatability", ragged, 409)


def test_a_budget_by_itself(client: FlaskClient) -> None:
    body = {
        "contributions": [
            {"name": "repeats", "value": 0.003, "degrees_of_freedom": 4},
            {"name": "display", "value": 0.004 * 3**0.5, "distribution": "rectangular"},
        ]
    }

    found = _compute(client, "uncertainty-budget", body)

    assert found["combined"] == pytest.approx(0.005)
    # (0.005)^4 / (0.003^4 / 4) = 30.9
    assert found["effective_degrees_of_freedom"] == pytest.approx(30.864, abs=0.001)
    _compute(client, "uncertainty-budget", {"contributions": [{"name": "a", "value": 0}]}, 409)


def test_a_datum_by_itself(client: FlaskClient) -> None:
    body = {"recorded_mm": 10.0, "looks_mm": [10.001, None, 9.999, 10.2]}

    found = _compute(client, "station-datum", body)

    assert [look["verdict"] for look in found["looks"]] == [
        "taken",
        "none",
        "taken",
        "held_apart",
    ]
    assert found["held_mm"] == 10.2
    assert found["datum_mm"] == pytest.approx(10.0, abs=0.001)
    _compute(client, "station-datum", body | {"looks_mm": [float(10**7)]}, 422)


def test_unknown_stations_and_gauges_are_not_found(client: FlaskClient) -> None:
    assert client.get("/v1/stations/M9/T01/datum").status_code == 404
    assert client.get("/v1/gauges/NONE/study").status_code == 404


def test_repeats_by_themselves_name_the_outlier_and_their_budget(client: FlaskClient) -> None:
    body = {
        "readings_mm": [80.001, 80.0012, 80.031, 80.0011],
        "tolerance_mm": 0.05,
        "gauge_uncertainty_mm": 0.001,
    }

    found = _compute(client, "preset", body)
    inches = _compute(
        client,
        "preset?length_unit=in",
        {
            "readings_in": [value / 25.4 for value in body["readings_mm"]],
            "tolerance_in": 0.05 / 25.4,
            "gauge_uncertainty_in": 0.001 / 25.4,
        },
    )

    assert found["outlier"]["reading"] == 3
    assert found["budget"]["expanded_mm"] == found["expanded_uncertainty_mm"]
    assert inches["mean_in"] * 25.4 == pytest.approx(found["mean_mm"])
    assert found["budget"]["effective_degrees_of_freedom"] == pytest.approx(3.1, abs=0.1)
    assert inches["budget"]["combined_in"] * 25.4 == pytest.approx(
        found["budget"]["combined_mm"]
    )
    assert inches["outlier"]["value_in"] * 25.4 == pytest.approx(80.031)
    alone = _compute(client, "preset", {"readings_mm": [80.001], "tolerance_mm": 0.05})
    assert (alone["outlier"], alone["budget"]) == (None, None)


def test_the_datum_is_told_in_inches_under_names_that_say_so(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    bench.post("/v1/corrections", station="M1/T01", axis="X", change_mm="0", kind="first_off")

    shown = client.get("/v1/stations/M1/T01/datum?length_unit=in").get_json()

    x = shown["axes"][0]
    assert x["datum"]["recorded_in"] == "0.39370"
    assert x["datum"]["datum_in"] == pytest.approx(10 / 25.4, abs=1e-5)
    assert x["history"][0]["expected_in"] == pytest.approx(10 / 25.4)
