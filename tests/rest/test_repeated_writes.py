"""A write that comes twice under one key: its first answer again, or why not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from flask import Request, Response
from werkzeug.test import EnvironBuilder

from api.http.idempotency import KeyedRequest
from crib.errors import KeyReused
from crib.store.idempotency import KEPT_FOR

NOW = datetime(2026, 11, 2, 6, 30, tzinfo=UTC)
BODY = {"machine": "M1", "count": 17}


def keyed(
    key: str | None = "scan-17", path: str = "/v1/stops", body: Any = BODY, method: str = "POST"
) -> KeyedRequest:
    headers = {} if key is None else {"Idempotency-Key": key}
    asked = Request(EnvironBuilder(path, method=method, headers=headers).get_environ())
    return KeyedRequest(asked, body)


def answered() -> Response:
    kept = {"Location": "/v1/stops/4", "ETag": '"4.1"'}
    return Response(
        b'{"id": 4}', 201, {"Content-Type": "application/json", **kept, "X-Once": "1"}
    )


def test_the_first_answer_comes_again_with_what_belongs_to_it(tx):
    assert keyed().earlier_answer(tx) is None
    keyed().keep(tx, answered(), NOW)

    again = keyed().earlier_answer(tx)

    assert again is not None
    assert (again.status_code, again.get_data()) == (201, b'{"id": 4}')
    assert again.content_type == "application/json"
    assert (again.headers["Location"], again.headers["ETag"]) == ("/v1/stops/4", '"4.1"')
    assert "X-Once" not in again.headers
    assert keyed("scan-18").earlier_answer(tx) is None


def test_an_answer_without_such_headers_is_kept_without_them(tx):
    keyed().keep(tx, Response(b"{}", 200, {"Content-Type": "application/json"}), NOW)

    again = keyed().earlier_answer(tx)

    assert again is not None
    assert not {"Location", "ETag"} & set(again.headers.keys())


@pytest.mark.parametrize(
    "other",
    [
        {"body": {**BODY, "count": 18}}, {"path": "/v1/stops?length_unit=in"},
        {"path": "/v1/counts"}, {"method": "PATCH"},
    ],
)  # fmt: skip
def test_another_request_under_the_same_key_is_refused(tx, other):
    keyed().keep(tx, answered(), NOW)

    with pytest.raises(KeyReused) as refused:
        keyed(**other).earlier_answer(tx)

    assert refused.value.facts["key"] == "scan-17"
    assert str(refused.value) == (
        "The Idempotency-Key 'scan-17' was used before for another request: use a new key for "
        "each request."
    )


def test_a_write_without_a_key_is_never_kept(tx):
    keyed(None).keep(tx, answered(), NOW)

    assert keyed(None).earlier_answer(tx) is None
    assert tx.exec_driver_sql("SELECT count(*) FROM idempotency_keys").scalar_one() == 0


def test_an_answer_is_forgotten_once_it_is_older_than_it_is_kept_for(tx):
    keyed("old").keep(tx, answered(), NOW)
    keyed("new").keep(tx, answered(), NOW + KEPT_FOR)
    assert keyed("old").earlier_answer(tx) is not None

    keyed("newer").keep(tx, answered(), NOW + KEPT_FOR + timedelta(microseconds=1))

    assert keyed("old").earlier_answer(tx) is None
    assert keyed("new").earlier_answer(tx) is not None
