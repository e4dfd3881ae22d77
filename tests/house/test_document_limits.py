"""What the document says of a text is what its field takes: pattern against reader.

Sources: ``decimal`` for the numbers, ``datetime`` for the days, jsonschema_rs for the patterns
(the regular expressions of another language than ours, as most clients will have them).
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import jsonschema_rs
import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from api import create_app
from api.http.length_unit import Inches
from api.schemas.described import INCHES, SENT, cell_schema, described_field
from api.schemas.fields import At, ExactLength, Text, Whole
from api.schemas.patterns import Digits, number_pattern
from api.schemas.records import Cell, Template
from api.settings import Settings
from crib.records.columns import Column
from crib.store.engine import Store

_MANY = settings(max_examples=150)


def _takes(schema: dict[str, Any], text: str) -> bool:
    return jsonschema_rs.validator_for(schema).is_valid(text)


def _reads(field: Any, text: str) -> bool:
    try:
        field.deserialize(text)
    except ValidationError:
        return False
    return True


@_MANY
@given(
    ends=st.tuples(st.integers(-99_999, 99_999), st.integers(-99_999, 99_999)).map(sorted),
    places=st.sampled_from([0, 1, 3]),
    data=st.data(),
)
def test_a_number_pattern_is_its_bounds(ends: list[int], places: int, data: Any) -> None:
    low, high = (Decimal(end).scaleb(-places) for end in ends)
    near = st.sampled_from([-1, 0, 1])
    value = data.draw(
        st.one_of(
            st.integers(-99_999, 99_999),
            st.tuples(st.sampled_from(ends), near).map(sum),
        )
    )
    number = Decimal(value).scaleb(-places)
    pattern = number_pattern(low, high, Digits(5, places, zeros=2))

    texts = {f"{number:.{places}f}"}
    if places:
        texts |= {f"{number:.{places}f}00", f"{number:.{places}f}".rstrip("0").rstrip(".")}
    for text in texts - {"", "-"}:
        assert _takes({"pattern": pattern}, text) == (low <= number <= high), text


@pytest.mark.parametrize("text", ["", ".", "-", "+", "1e3", "0x1", "1,5", "٣", "1 ", "1\n"])
def test_no_number_is_no_number(text: str) -> None:
    assert not _takes({"pattern": number_pattern(None, None, Digits(9, 4))}, text)


_LENGTHS = st.from_regex(r"[+-]?[0-9]{0,7}[.]?[0-9]{0,6}", fullmatch=True)


@_MANY
@given(
    text=_LENGTHS,
    bounds=st.sampled_from([(None, None), (0.0, 500.0), (0.0005, 12.7), (-60.5, 60.5)]),
)
def test_a_length_is_told_as_it_is_read(
    text: str, bounds: tuple[float | None, float | None]
) -> None:
    field = ExactLength(least=bounds[0], most=bounds[1])
    told = described_field(None, field)

    assert _takes(told[SENT], text) == _reads(field, text)
    if _takes(told[INCHES][SENT], text):  # a few nanometres narrower than what is taken
        assert _reads(field, Inches(text))


@_MANY
@given(text=st.text(max_size=12) | st.sampled_from([" a ", "a\tb", "\x1f", "\u3000", "a\n"]))
def test_a_text_is_told_as_it_is_read(text: str) -> None:
    field = Text(least=1)

    assert _takes(described_field(None, field)[SENT], text) == _reads(field, text)


@_MANY
@given(
    text=st.text(max_size=12) | st.sampled_from(["a\nb\r\n", "a\tb", "\x1e", "\x1f", "\x85"])
)
def test_a_text_of_several_lines_is_told_as_it_is_read(text: str) -> None:
    field = Template()

    assert _takes(described_field(None, field)[SENT], text) == _reads(field, text)


@pytest.mark.parametrize("value", [2, 2.0, -1, -1.0, 2.5, 11, 1e30, True])
def test_a_whole_number_is_whole_as_json_schema_has_it(value: float) -> None:
    schema = {"type": "integer", "minimum": 0, "maximum": 10}

    assert jsonschema_rs.validator_for(schema).is_valid(value) == _reads(
        Whole(least=0, most=10), value
    )


_DAYS = st.from_regex(r"(19|20|22)[0-9]{2}-(0[0-9]|1[0-9])-[0-3][0-9]", fullmatch=True)
_TIMES = st.from_regex(r"[0-2][0-9]:[0-6][0-9]", fullmatch=True)


@_MANY
@given(day=_DAYS | st.sampled_from(["2100-02-29", "2000-02-29", "1972-02-29"]), time=_TIMES)
def test_a_closures_time_is_told_as_it_is_read(day: str, time: str) -> None:
    column = Column("start", "local")
    for text in (day, f"{day}T{time}", f"{day} {time}:00"):
        assert _takes(cell_schema(column), text) == _reads(Cell(column), text), text
    hours = Column("start", "time")
    assert _takes(cell_schema(hours), time) == _reads(Cell(hours), time)


@_MANY
@given(
    at=st.from_regex(
        r"(0000|0001|0002|2026|9998|9999)-12-31T23:[0-6]0:[0-6]0(Z|[+-][0-2][0-9]:[0-6]0)",
        fullmatch=True,
    )
)
def test_what_is_told_of_an_instant_is_read(at: str) -> None:
    if _takes(described_field(None, At())[SENT], at):
        assert _reads(At(), at)


@pytest.fixture
def client(store: Store) -> FlaskClient:
    app: Flask = create_app(Settings(store.url), store)
    return app.test_client()


def test_every_length_is_told_in_inches_too(client: FlaskClient) -> None:
    schemas = client.get("/v1/openapi.json").get_json()["components"]["schemas"]

    datum = schemas["DatumShape"]["properties"]
    assert datum["datum_in"]["type"] == "number"
    assert {"recorded_in", "walk_in", "held_in"} <= set(datum)
    assert schemas["ReadingBody"]["properties"]["lf_in"]["pattern"]
    assert schemas["GaugeStudyBody"]["properties"]["readings_in"]["type"] == "array"


def test_nothing_of_how_the_document_is_made_is_left_in_it(client: FlaskClient) -> None:
    text = client.get("/v1/openapi.json").get_data(as_text=True)

    assert SENT not in text
    assert INCHES not in text
