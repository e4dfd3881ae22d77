"""What the HTTP layer does with names: pointers, members in inches, the words of a call."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from api.http.length_unit import NO_INCHES, Inches, InchNumber, name_inches


def test_a_pointer_escapes_what_would_part_it(client: FlaskClient) -> None:
    """RFC 6901, section 3: ``~`` is written ``~0``, ``/`` is written ``~1``."""
    answer = client.post("/v1/stops", json={"machine": "M1", "reason": "x", "a/b~c": 1})

    assert [one["pointer"] for one in answer.get_json()["errors"]] == ["#/a~1b~0c"]


@pytest.mark.parametrize(
    ("found", "named"),
    [
        ({"lf_mm": Inches("3.1")}, {"lf_in": "3.1"}),
        ({"lf_mm": InchNumber(3.1)}, {"lf_in": 3.1}),
        ({"biases_mm": [InchNumber(0.1), InchNumber(0.2)]}, {"biases_in": [0.1, 0.2]}),
        ({"biases_mm": [InchNumber(0.1), 0.2]}, {"biases_mm": [0.1, 0.2]}),
        ({"biases_mm": []}, {"biases_mm": []}),
        ({"lf_mm": NO_INCHES}, {"lf_in": None}),
        ({"lf_mm": "80"}, {"lf_mm": "80"}),
        ({"rows": [{"lf_mm": Inches("3.1")}]}, {"rows": [{"lf_in": "3.1"}]}),
    ],
)
def test_no_member_holds_another_unit_than_its_name_says(found: object, named: object) -> None:
    assert name_inches(found) == named


def test_four_wrong_fields_are_told_as_three_and_one_more(client: FlaskClient) -> None:
    body = {"machine": "M1", "reason": "x", "a": 1, "b": 1, "c": 1, "d": 1}

    few, many = (
        client.post("/v1/stops", json=dict(list(body.items())[:size])).get_json()
        for size in (5, 6)
    )

    assert few["detail"].endswith("c is not known here.") or "more" not in few["detail"]
    assert many["detail"].endswith("; and 1 more.")
    assert len(many["errors"]) == 4


def test_each_documented_call_tells_what_it_takes_and_what_may_go_wrong(
    client: FlaskClient,
) -> None:
    paths = client.get("/v1/openapi.json").get_json()["paths"]
    read, write = paths["/v1/assemblies"]["get"], paths["/v1/mounts"]["post"]
    work = paths["/v1/workings/gauge-drift"]["post"]
    record = paths["/v1/holders/{key}"]["patch"]

    assert {one["in"] for one in read["parameters"]} >= {"query"}
    assert {"as_of", "length_unit", "limit", "after"} <= {
        one["name"] for one in read["parameters"]
    }
    assert write["requestBody"]["content"]["application/json"]["schema"]["$ref"]
    assert work["requestBody"]["content"]["application/json"]["schema"]["$ref"]
    assert {"201", "409", "422", "500", "503", "507"} <= set(write["responses"])
    assert {"200", "422", "500"} <= set(read["responses"])
    assert {"503", "507"} <= set(record["responses"])
    assert "503" not in work["responses"]
    for call in (read, write, work):
        (done,) = (code for code in call["responses"] if code.startswith("2"))
        content = call["responses"][done]["content"]["application/json"]
        assert content["schema"]["$ref"]
        assert call["responses"]["422"]["$ref"].endswith("/Problem422")
        assert call["summary"]
