"""The calculations by themselves, over HTTP."""

import itertools
import json
from typing import Any

import pytest
from flask.testing import FlaskClient

COSTS = {"n": 0.125, "c_m_min": 70, "change_min": 2, "machine_rate_per_min": 0.5}
CUT = {"edge_cost": 3, "path_length_mm": 500, "feed_mm_rev": 0.25, "diameter_mm": 100}
BODIES: dict[str, dict[str, Any]] = {
    "tool-life": {"cutting_speed_m_min": 50, "n": 0.125, "c_m_min": 70},
    "swap-point": {"shape": 3, "scale": 100, "planned_cost": 1, "failure_cost": 10},
    "cutting-economics": COSTS | CUT | {"handling_min": 5},
    "preset": {"readings_mm": [1.0, 1.001, 0.999], "tolerance_mm": 0.01},
    "bench-order": {"jobs": [{"name": "A", "minutes": 10, "due_min": 20}]},
    "part-size": {"wear_land_mm": 0.3, "clearance_deg": 7, "on_diameter": True},
}
ODD = [0, -1, 1e-12, 1e12, 1e300, None, "x", True, [], {}, 90, 100_000.0]


def work(client: FlaskClient, name: str, **body: Any) -> dict[str, Any]:
    answer = client.post(f"/v1/workings/{name}", json=BODIES[name] | body)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_the_speeds_are_those_of_the_worked_example(client):
    """Groover, machining economics example (from memory)."""
    found = work(client, "cutting-economics")

    assert found["minimum_cost"]["life_min"] == pytest.approx(56.0)
    assert found["minimum_cost"]["cutting_speed_m_min"] == pytest.approx(42.32, abs=0.005)
    assert found["maximum_output"]["life_min"] == pytest.approx(14.0)
    assert found["maximum_output"]["cutting_speed_m_min"] == pytest.approx(50.33, abs=0.005)


def test_a_part_grows_with_the_worn_land(client):
    assert work(client, "part-size")["growth_mm"] == pytest.approx(0.073671, abs=1e-6)


def test_an_edge_that_does_not_age_is_never_swapped_early(client):
    found = work(client, "swap-point", shape=1)

    assert found["age"] is None
    assert "never pays" in found["why"]


def test_a_check_character_completes_its_text(client):
    found = client.get("/v1/workings/check-character/h00001").get_json()

    assert found == {"character": "K", "code": "H00001K"}
    assert client.get("/v1/workings/check-character/h-1").status_code == 422


@pytest.mark.parametrize("name", BODIES)
def test_odd_numbers_are_refused_or_answered(client, name):
    def refuse(text: str) -> float:
        raise AssertionError(f"{text} is no number of JSON")

    def send(changed: dict[str, Any]) -> None:
        answer = client.post(f"/v1/workings/{name}", json=BODIES[name] | changed)
        assert answer.status_code in (200, 422), changed
        json.loads(answer.get_data(as_text=True), parse_constant=refuse)

    for field in BODIES[name]:
        for value in ODD:
            send({field: value})
    for one, other in itertools.combinations(BODIES[name], 2):
        for pair in itertools.product([*ODD[2:4], 1e-3, 0.05, 1_000], repeat=2):
            send({one: pair[0], other: pair[1]})


@pytest.mark.parametrize("name", BODIES)
def test_a_body_that_says_nothing_is_refused(client, name):
    assert client.post(f"/v1/workings/{name}", json={}).status_code == 422


def test_repeats_are_judged_under_the_names_of_the_contract(client):
    answer = client.post(
        "/v1/workings/preset",
        json={"readings_mm": [80.001, 80.002, 80.003], "tolerance_mm": 0.02},
    ).get_json()

    assert answer["mean"] == pytest.approx(80.002)
    assert answer["standard_deviation"] == pytest.approx(0.001)
    assert answer["type_a"] == pytest.approx(0.001 / 3**0.5)
    assert set(answer) == {
        "mean", "standard_deviation", "type_a", "expanded_uncertainty", "accepted",
    }  # fmt: skip
