"""Names, marks and notes that do not read as they look are refused wherever they come in."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from flask.testing import FlaskClient

UNSEEN = ["\u202e", "\u2066", "\u2028", "\u2029", "\x1b", "\x85", "\u200b"]


@pytest.mark.parametrize("character", UNSEEN)
def test_a_record_and_a_fact(
    client: FlaskClient, rows: Callable[[str], int], character: str
) -> None:
    name = f"Attendant{character}enO"
    person = {"badge": "B9", "name": name, "role": "attendant"}
    stop = {"machine": "M1", "reason": "jammed", "by": "B2", "note": name}
    before = rows("people"), rows("facts")

    for path, body in (("/v1/people", person), ("/v1/stops", stop)):
        answer = client.post(path, json=body)
        assert answer.status_code == 422
        assert "invisible" in answer.text or "control character" in answer.text

    assert (rows("people"), rows("facts")) == before


@pytest.mark.parametrize("character", UNSEEN)
def test_a_block_for_the_control(client: FlaskClient, character: str) -> None:
    etag = client.get("/v1/machines/M1").headers["ETag"]
    for template, status in ((f"G10 {character}$x", 422), ("G10 $x_word\r\n$z_word\n", 200)):
        answer = client.patch(
            "/v1/machines/M1", json={"block_template": template}, headers={"If-Match": etag}
        )
        assert answer.status_code == status, answer.text


@pytest.mark.parametrize("character", UNSEEN)
def test_a_form_of_a_page(
    client: FlaskClient, rows: Callable[[str], int], character: str
) -> None:
    facts = rows("facts")
    entries = {"verdict": "accept", "note": f"seen{character}it", "refusal": "1"}

    answer = client.post("/shift/counts-aside", data=entries)

    assert answer.status_code == 422
    assert rows("facts") == facts
