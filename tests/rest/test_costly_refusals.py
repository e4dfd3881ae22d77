"""What is wrong a million times is refused early, in a short answer."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from flask.testing import FlaskClient

MEMBERS = "{" + ",".join(f'"m{n}":1' for n in range(250_000)) + "}"
#: No refusal needs more than this [bytes].
SHORT = 40_000


def _readings(one: object, times: int = 50_000) -> str:
    return json.dumps({"machine": "M1", "readings": [one] * times})


@pytest.mark.parametrize(
    ("path", "raw", "says"),
    [
        ("/v1/stops", MEMBERS, "more than 200000 members"),
        ("/v1/counts", MEMBERS, "has 250000 members"),
        ("/v1/stops?length_unit=in", MEMBERS, "more than 200000 members"),
        ("/v1/stops", json.dumps({f"m{n}": 1 for n in range(300)}), "has 300 members"),
        ("/v1/counts", _readings({"att": 1}), "is not a field of a reading"),
        ("/v1/counts", _readings([]), "must be an object"),
        ("/v1/counts", _readings({f"m{n}": 1 for n in range(50_000)}, 1), "is not a field"),
        ("/v1/assemblies/X/presets", json.dumps({"readings": [{}] * 150_000}), "entries"),
        ("/v1/stops", "[" * 1_000_000, "nested too deeply"),
        ("/v1/stops", '{"a":' * 100_000 + "1" + "}" * 100_000, "nested too deeply"),
        ("/v1/stops", '{"machine":' + "9" * 1_000_000 + "}", "not complete JSON"),
        ("/v1/stops", "[" + "1," * 1_000_000 + "NaN]", "not complete JSON"),
        ("/v1/stops", json.dumps({"x" * 1_000_000: 1}), "is not a field"),
    ],
)
def test_a_body_that_is_wrong_many_times_gets_a_short_answer(
    client: FlaskClient, rows: Callable[[str], int], path: str, raw: str, says: str
) -> None:
    facts = rows("facts")
    answer = client.post(path, data=raw, content_type="application/json")

    assert answer.status_code in (400, 422)
    assert len(answer.data) < SHORT
    assert says in answer.text
    assert rows("facts") == facts


def test_of_many_bad_counts_the_first_are_named_and_all_counted(
    client: FlaskClient, rows: Callable[[str], int]
) -> None:
    bad = [{"at": "2026-01-05T06:10:00+01:00", "count": -n} for n in range(1, 501)]
    bad.append({"at": "x" * 100_000, "count": "y" * 100_000})

    answer = client.post("/v1/counts", json={"machine": "M1", "readings": bad[::-1]})

    assert answer.status_code == 202
    assert len(answer.data) < SHORT
    told = answer.get_json()
    assert told["refused_in_all"] == 501
    assert [one["index"] for one in told["refused"]] == list(range(100))
    assert rows("count_refusals") == 501  # none of them is lost


def test_an_address_with_very_many_parameters(client: FlaskClient) -> None:
    asked = "&".join(f"p{n}=1" for n in range(5_000))

    answer = client.get(f"/v1/stations?{asked}")

    assert answer.status_code == 422
    assert len(answer.data) < SHORT


PART = b'--B\r\nContent-Disposition: form-data; name="f"\r\n\r\n1\r\n'


@pytest.mark.parametrize("path", ["/shown", "/who", "/bench/build", "/bench/work/X"])
@pytest.mark.parametrize(
    ("media", "raw"),
    [
        ("application/x-www-form-urlencoded", b"f=1&" * 30_000),
        ("multipart/form-data; boundary=B", PART * 3_000 + b"--B--\r\n"),
    ],
)
def test_a_form_of_very_many_fields(
    client: FlaskClient, path: str, media: str, raw: bytes
) -> None:
    answer = client.post(path, data=raw, content_type=media)

    assert answer.status_code == 413
    assert answer.get_json()["type"] == "/problems/too-large"
