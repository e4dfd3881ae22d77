"""Designations over HTTP: taken apart, or refused with the position."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st


def read(client: FlaskClient, kind: str, text: str, query: str = "") -> dict[str, Any]:
    answer = client.get(f"/v1/designations/{kind}/{quote(text, safe='')}{query}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_an_insert_is_answered_under_the_names_of_the_contract(client: FlaskClient) -> None:
    found = read(client, "insert", "CNMG120408-M")

    tolerance = found.pop("tolerance")
    positions = found.pop("positions")
    assert found == {
        "designation": "CNMG120408-M",
        "metric": "CNMG120408-M",
        "inches": "CNMG432-M",
        "shape": "C",
        "included_angle_deg": 80.0,
        "clearance": "N",
        "clearance_deg": 0.0,
        "tolerance_class": "M",
        "type": "G",
        "size": "12",
        "inscribed_circle_mm": 12.7,
        "edge_length_mm": pytest.approx(12.8959, abs=1e-4),
        "thickness_mm": 4.76,
        "corner_radius_mm": 0.8,
        "faces": 2,
        "edges": 4,
        "hand": None,
        "maker": "M",
    }
    assert [tolerance[f"{name}_mm"] for name in "dms"] == [0.08, 0.13, 0.13]
    assert [one["position"] for one in positions] == [1, 2, 3, 4, 5, 6, 7, 10]
    assert positions[0] == {
        "position": 1,
        "text": "C",
        "meaning": "shape: rhombic, included angle 80°",
        "value": 80.0,
    }


def test_small_letters_and_blanks_are_taken(client: FlaskClient) -> None:
    assert read(client, "insert", "ccmt 09 t3 04")["designation"] == "CCMT09T304"
    assert read(client, "holder", "sclcr 1212 f09")["designation"] == "SCLCR1212F09"
    assert read(client, "holder", "a16m sclcr09".replace(" ", "-"))["kind"] == "boring bar"
    assert read(client, "material", "hc-p20")["designation"] == "HC-P20"


def test_a_range_is_told_where_no_single_limit_is(client: FlaskClient) -> None:
    found = read(client, "insert", "KNUX160405R")

    assert found["edges"] is None
    assert found["edge_length_mm"] is None
    assert found["tolerance"]["d_mm"] is None
    assert [found["tolerance"][f"d_{end}_mm"] for end in ("from", "to")] == [0.08, 0.25]
    assert read(client, "insert", "RCMT1204M0")["tolerance"]["m_to_mm"] is None


def test_lengths_come_in_inches_on_request(client: FlaskClient) -> None:
    found = read(client, "insert", "CNMG432", "?length_unit=in")

    assert found["inscribed_circle_in"] == pytest.approx(0.5)
    assert found["tolerance"]["d_in"] == pytest.approx(0.08 / 25.4)
    assert "inscribed_circle_mm" not in found


def test_a_holder_is_answered_under_the_names_of_the_contract(client: FlaskClient) -> None:
    found = read(client, "holder", "SCLCR1212F09")

    positions = found.pop("positions")
    assert found == {
        "designation": "SCLCR1212F09",
        "kind": "square shank",
        "clamping": "S",
        "insert_shape": "C",
        "included_angle_deg": 80.0,
        "style": "L",
        "edge_angle_deg": 95.0,
        "clearance": "C",
        "clearance_deg": 7.0,
        "hand": "R",
        "shank_height_mm": 12.0,
        "shank_width_mm": 12.0,
        "shank_diameter_mm": None,
        "shank_limits": [
            {"of": of, "tolerance": "h13", "least_mm": 11.73, "greatest_mm": 12.0}
            for of in ("height", "width")
        ],
        "length_mm": 80.0,
        "size": "09",
        "inscribed_circle_mm": 9.525,
        "maker": None,
    }
    assert len(positions) == 9


def test_a_bar_is_answered_where_a_holder_is_asked(client: FlaskClient) -> None:
    found = read(client, "holder", "A16M-SCLCR09")

    assert (found["shank_diameter_mm"], found["length_mm"]) == (16.0, 150.0)
    assert found["shank_height_mm"] is None
    assert found["shank_limits"] == [
        {"of": "diameter", "tolerance": "g7", "least_mm": 15.976, "greatest_mm": 15.994}
    ]
    assert [one["text"] for one in found["positions"][:3]] == ["A", "16", "M"]


def test_a_material_group_is_told(client: FlaskClient) -> None:
    found = read(client, "material", "M35")

    assert (found["group"], found["name"], found["number"]) == ("M", "stainless steel", "35")
    assert "toughness" in found["application"]
    assert found["cutting_material"] is None


@pytest.mark.parametrize(
    ("kind", "text", "position", "character", "nearest"),
    [
        ("insert", "CXMT09T304", 2, 2, "CCMT09T304"),
        ("insert", "CCMT09X304", 6, 7, "CCMT09T304"),
        ("insert", "CNMG43", 7, 7, "CNMG431"),
        ("holder", "SCLXR1212F09", 4, 4, "SCLCR1212F09"),
        ("holder", "A16M-SCLXR09", 7, 9, "A16M-SCLCR09"),
        ("material", "P22", 3, 2, "P20"),
        ("insert", "hello", 4, 4, None),
    ],
)
def test_a_wrong_text_is_a_problem_with_its_position(
    client: FlaskClient,
    kind: str,
    text: str,
    position: int,
    character: int,
    nearest: str | None,
) -> None:
    answer = client.get(f"/v1/designations/{kind}/{text}")

    assert answer.status_code == 404
    assert answer.mimetype == "application/problem+json"
    body = answer.get_json()
    assert body["type"] == "/problems/bad-designation"
    assert (body["position"], body["character"]) == (position, character)
    assert body["nearest"] == nearest
    assert body["expected"]
    assert f"position {position}" in body["detail"]


@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    kind=st.sampled_from(["insert", "holder", "material"]),
    text=st.text(min_size=1, max_size=60).filter(lambda text: text.strip("./") == text),
)
def test_any_text_is_answered_or_refused(client: FlaskClient, kind: str, text: str) -> None:
    if any(0xD800 <= ord(letter) < 0xE000 for letter in text):
        return  # no address can carry half a letter
    answer = client.get(f"/v1/designations/{kind}/{quote(text, safe='')}")

    assert answer.status_code in (200, 404)  # a slash leads to another address
