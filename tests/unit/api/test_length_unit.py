"""Inches: members are renamed on the way out, marked on the way in, named as they were sent."""

from __future__ import annotations

import pytest

from api.http.length_unit import (
    NO_INCHES,
    Inches,
    InchNumber,
    name_inches,
    read_inches,
    sent_name,
)
from crib.errors import Invalid


@pytest.mark.parametrize(
    ("value", "named"),
    [
        ({"lf_mm": Inches("3.9370")}, {"lf_in": "3.9370"}),
        ({"lf_mm": "100.0000"}, {"lf_mm": "100.0000"}),
        ({"lf": Inches("3.9370")}, {"lf": "3.9370"}),
        ({"lf_mm": NO_INCHES}, {"lf_in": None}),
        ({"lf_mm": None}, {"lf_mm": None}),
        ({"wear_mm": InchNumber(0.25)}, {"wear_in": 0.25}),
        ({"steps_mm": [Inches("1"), Inches("2")]}, {"steps_in": ["1", "2"]}),
        ({"steps_mm": []}, {"steps_mm": []}),
        ({"steps_mm": [Inches("1"), 2]}, {"steps_mm": ["1", 2]}),
        ({"sizes_mm": {"LF": Inches("1")}}, {"sizes_in": {"LF": "1"}}),
        ({"sizes_mm": {"LF": 1}}, {"sizes_mm": {"LF": 1}}),
        ([{"a": {"lf_mm": InchNumber(1)}}], [{"a": {"lf_in": 1.0}}]),
        (7, 7),
    ],
)
def test_only_what_holds_inches_is_renamed_in_an_answer(value, named):
    found = name_inches(value)

    assert found == named
    for one in found.values() if isinstance(found, dict) else ():
        assert not isinstance(one, InchNumber)


@pytest.mark.parametrize(
    ("body", "read"),
    [
        ({"lf_in": "3.9370"}, {"lf_mm": Inches("3.9370")}),
        ({"lf_in": 4}, {"lf_mm": InchNumber(4)}),
        ({"lf_in": 0.5}, {"lf_mm": InchNumber(0.5)}),
        ({"lf_in": None}, {"lf_mm": None}),
        ({"lf_in": True}, {"lf_mm": True}),
        ({"steps_in": ["1", 2]}, {"steps_mm": [Inches("1"), InchNumber(2)]}),
        ({"lf_in": {"x_in": "1"}}, {"lf_in": {"x_mm": Inches("1")}}),
        ({"lf_mm": "100"}, {"lf_mm": "100"}),
        ([{"a": [{"lf_in": "1"}]}], [{"a": [{"lf_mm": Inches("1")}]}]),
        ("lf_in", "lf_in"),
    ],
)
def test_a_body_in_inches_is_read_under_the_names_of_its_schema(body, read):
    def marked(value: object) -> object:
        if isinstance(value, dict):
            return {name: marked(one) for name, one in value.items()}
        if isinstance(value, list):
            return [marked(one) for one in value]
        return type(value), value

    assert marked(read_inches(body)) == marked(read)


@pytest.mark.parametrize(("sent", "read"), [(10**400, 1e300), (1e299, 1e299)])
def test_an_integer_that_no_float_holds_is_read_as_huge(sent, read):
    assert read_inches({"lf_in": sent})["lf_mm"] == read


def test_a_length_in_both_units_is_refused_by_the_name_that_was_sent():
    with pytest.raises(Invalid) as refused:
        read_inches({"deep": {"lf_in": "1", "lf_mm": "25.4"}})

    assert str(refused.value) == "'lf_in' and 'lf_mm' are both given: send one of them."
    assert refused.value.errors == [{"field": "lf_in", "detail": "is also given as lf_mm"}]


@pytest.mark.parametrize(
    ("body", "path", "sent"),
    [
        ({"lf_in": "x"}, ("lf_mm",), ("lf_in",)),
        ({"lf_mm": "x"}, ("lf_mm",), ("lf_mm",)),
        ({}, ("lf_mm",), ("lf_mm",)),
        ({"name_in": 1}, ("name",), ("name",)),
        ({"readings": [{"a_mm": 1}, {"lf_in": "x"}]}, ("readings", 1, "lf_mm"),
         ("readings", 1, "lf_in")),
        ({"steps_in": ["x"]}, ("steps_mm", 0), ("steps_in", 0)),
        ({"readings": []}, ("readings", 3, "lf_mm"), ("readings", 3, "lf_mm")),
        (None, ("lf_mm", "a"), ("lf_mm", "a")),
        ([{"lf_in": 1}], (0, "lf_mm"), (0, "lf_in")),
    ],
)  # fmt: skip
def test_an_error_names_the_member_as_it_was_sent(body, path, sent):
    assert sent_name(body, path) == sent
