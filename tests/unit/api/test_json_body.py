"""JSON in and out: what is written of each type, and what is said of a body that is none.

JSON knows no NaN, no infinity and no limit to an integer (RFC 8259, 6); names of an object
should be unique (4).
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from enum import Enum
from pathlib import PurePosixPath

import numpy as np
import pytest

from api.http.json_body import HalfJson, dump_json, read_json

NESTED = (
    "The JSON body is nested too deeply. Nothing was recorded. Send only members that this "
    "call takes."
)


class Kind(Enum):
    WORN = "worn"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (datetime(2026, 11, 2, 6, 30, tzinfo=UTC), '"2026-11-02T06:30:00Z"'),
        (datetime(2026, 11, 2, 6, 30, tzinfo=timezone(timedelta(hours=1))),
         '"2026-11-02T05:30:00Z"'),
        (date(2026, 11, 2), '"2026-11-02"'),
        (Decimal("0.10"), '"0.10"'),
        (PurePosixPath("shop/tools.csv"), '"shop/tools.csv"'),
        (Kind.WORN, '"worn"'),
        ({8, 64, 1, 0}, "[0,1,8,64]"),
        (frozenset("dabc"), '["a","b","c","d"]'),
        (np.array([1.5, 2.0]), "[1.5,2.0]"),
        ([float("nan"), float("inf")], "[null,null]"),
    ],
)  # fmt: skip
def test_each_type_is_written_in_one_way(value, text):
    assert dump_json(value).decode() == text


@pytest.mark.parametrize("more", [{}, {"at": date(2026, 11, 2), "why": Kind.WORN}])
def test_an_integer_of_any_size_is_written_whole(more):
    written = dump_json({"total": 2**70, **more})

    assert json.loads(written)["total"] == 2**70
    assert json.loads(written).get("why") == ("worn" if more else None)


def test_a_number_that_is_not_finite_is_never_written():
    with pytest.raises(ValueError, match="not JSON compliant"):
        dump_json({"parts": 2**70, "value": float("nan")})


def test_what_has_no_json_is_named():
    with pytest.raises(TypeError, match="complex"):
        dump_json({"total": 1j})
    with pytest.raises(TypeError, match="complex has no JSON"):
        dump_json({"parts": 2**70, "total": 1j})


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        (b'{"parts": 3, "value": NaN}', "value"),
        (b'{"a": [1, {"b": -Infinity}]}', "a.1.b"),
        (b'{"a": 1e999}', "a"),
        (b'{"a": {"b": NaN}, "c": NaN}', "a.b"),
        (b"[[0, NaN], NaN]", "0.1"),
        (b'{".x": NaN}', "x"),
        (b"NaN", ""),
    ],
)
def test_the_first_number_that_is_not_finite_is_named_by_its_place(raw, field):
    with pytest.raises(HalfJson) as refused:
        read_json(raw)

    said = refused.value
    assert said.errors == [{"field": field, "detail": "not a finite number"}]
    assert str(said) == (
        f"{field or 'The body'} is not a finite number. Leave out what is not known. Nothing "
        "was recorded."
    )


@pytest.mark.parametrize("more", [0, 1])
def test_its_place_is_looked_for_in_a_body_of_up_to_a_million_bytes(more):
    begin, end = b'{"note": "', b'", "value": NaN}'
    raw = begin + b"x" * (1_000_000 + more - len(begin) - len(end)) + end

    with pytest.raises(HalfJson) as refused:
        read_json(raw)

    assert [one["field"] for one in refused.value.errors] == ([] if more else ["value"])


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "The body is empty; this call takes a JSON object."),
        (b" \n", "The body is empty; this call takes a JSON object."),
        (b"[" * 200_000, NESTED),
        (b"[" * 200_000 + b"]" * 200_000, NESTED),
        (b'{"a": 1, "b": 2, "a": 3}',
         "The body is not complete JSON: 'a' is given twice in one object. Nothing was "
         "recorded; send it again."),
        (b'{"m": {"' + b"n" * 70 + b'": 1, "' + b"n" * 70 + b'": 1}}',
         f"The body is not complete JSON: '{'n' * 60}' is given twice in one object. Nothing "
         "was recorded; send it again."),
    ],
)  # fmt: skip
def test_a_body_that_is_no_json_is_refused_with_the_reason(raw, says):
    with pytest.raises(HalfJson) as refused:
        read_json(raw)

    assert str(refused.value) == says


@pytest.mark.parametrize("raw", [b'{"a": 1', b'{"a": 1}}', b'{"a": \xff}', b'{"a": NaN'])
def test_a_body_that_is_cut_off_says_where(raw):
    with pytest.raises(HalfJson) as refused:
        read_json(raw)

    assert str(refused.value).startswith("The body is not complete JSON: ")
    assert "line 1 column" in str(refused.value)
    assert str(refused.value).endswith(". Nothing was recorded; send it again.")


def test_members_are_counted_before_anything_is_built_of_them():
    most = {str(number): 1 for number in range(200_000)}
    assert len(read_json(dump_json(most))) == 200_000

    many = dump_json({**most, "more": 1})
    with pytest.raises(HalfJson, match="more than 200000 members") as refused:
        read_json(many)
    assert str(refused.value).endswith(" Nothing was recorded. Send fewer at once.")
    assert len(read_json(many, unique_names=False)) == 200_001


def test_the_hot_route_takes_the_last_of_two_members_of_one_name():
    assert read_json(b'{"a": 1, "a": 2}', unique_names=False) == {"a": 2}
