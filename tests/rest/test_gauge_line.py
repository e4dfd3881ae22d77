"""The line of a gauge over HTTP: kept with the gauge, read into exact lengths."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient


def read(client: FlaskClient, status: int = 200, **body: Any) -> dict[str, Any]:
    answer = client.post("/v1/workings/gauge-line", json=body)
    assert answer.status_code == status, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_a_line_is_read_by_the_pattern_of_the_gauge(client: FlaskClient) -> None:
    etag = client.get("/v1/gauges/PG-1").headers["ETag"]
    kept = client.patch(
        "/v1/gauges/PG-1",
        json={"line_pattern": "LEN {lf} WID {wf} *"},
        headers={"If-Match": etag},
    )

    assert kept.status_code == 200
    pattern = client.get("/v1/gauges/PG-1").get_json()["line_pattern"]
    assert read(client, pattern=pattern, line="len 0080,0010\twid -16.0103 ok\r\n") == {
        "lf_mm": "80.0010",
        "wf_mm": "-16.0103",
        "hf_mm": None,
        "re_mm": None,
    }


def test_without_a_pattern_the_measures_name_themselves(client: FlaskClient) -> None:
    assert read(client, line="RE 0.8 LF 80")["re_mm"] == "0.8000"


def test_a_line_that_does_not_match_says_the_word(client: FlaskClient) -> None:
    problem = read(client, 409, pattern="LF {lf} WF {wf}", line="LF 80 XF 16")

    assert problem["detail"] == "Word 3 of the line is 'XF': 'WF' belongs there."
    assert (problem["word"], problem["expected"], problem["found"]) == (3, "'WF'", "XF")
    assert problem["errors"][0]["pointer"] == "#/line"


@pytest.mark.parametrize("pattern", ["LF {dc}", "LF", "{lf}{wf}"])
def test_a_pattern_that_cannot_be_read_by_is_not_kept(
    client: FlaskClient, pattern: str
) -> None:
    answer = client.post("/v1/gauges", json={"gauge": "PG-9", "line_pattern": pattern})

    assert answer.status_code == 409
    assert answer.get_json()["errors"][0]["pointer"] == "#/line_pattern"
    assert client.get("/v1/gauges/PG-9").status_code == 404
    assert read(client, 409, pattern=pattern, line="LF 80")["errors"][0]["pointer"] == (
        "#/pattern"
    )
