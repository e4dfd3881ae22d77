"""A number is read as it was meant or refused, whatever the decimal mark."""

from __future__ import annotations

import pytest

from crib.errors import Invalid
from crib.records.catalogue import HOLDER_TYPES, TOOL_SPECS
from crib.records.columns import Column
from crib.shopfiles.decimals import DecimalMark

LIFE = Column("life_parts", "number", maximum=100_000_000)
DIAMETER = Column("end_diameter_mm", "number", maximum=1_000)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("12", "12"), ("12,5", "12.5"), ("-0,005", "-0.005"), (",5", ".5"),
        ("12,3456", "12.3456"), ("1,5e3", "1.5e3"), ("soon, maybe", "soon, maybe"),
        (",", ","), ("1,2,x", "1,2,x"),
    ],
)  # fmt: skip
def test_a_decimal_comma_becomes_a_point_and_other_text_stays(text, meant):
    assert DecimalMark(";").with_point(text, 2, LIFE) == meant


@pytest.mark.parametrize("text", ["1.234,5", "1,234.5", "1.234.567", "1,234,567"])
@pytest.mark.parametrize("separator", [";", "\t"])
def test_grouped_thousands_are_refused(separator, text):
    with pytest.raises(Invalid, match="groups its thousands; write it without"):
        DecimalMark(separator).with_point(text, 2, LIFE)


@pytest.mark.parametrize(("first", "then"), [("12,5", "12.5"), ("0.5", "1,25")])
def test_one_file_has_one_decimal_mark(first, then):
    mark = DecimalMark(";")
    mark.with_point(first, 4, LIFE)

    with pytest.raises(Invalid, match="but line 4 has a decimal"):
        mark.with_point(then, 9, LIFE)


@pytest.mark.parametrize("text", ["1,234", "1.234", "-12,500"])
def test_three_digits_after_a_mark_stay_in_doubt_by_themselves(text):
    mark = DecimalMark(";")
    mark.with_point(text, 2, LIFE)

    assert mark.in_doubt() == [(2, "life_parts", text)]


@pytest.mark.parametrize("other", ["0,5", "12,25", "0,125", "1234,5"])
def test_another_number_of_the_file_takes_the_doubt_away(other):
    before, after = DecimalMark(";"), DecimalMark(";")
    before.with_point(other, 2, LIFE)
    before.with_point("1,234", 3, LIFE)
    after.with_point("1,234", 2, LIFE)
    after.with_point(other, 3, LIFE)

    assert before.in_doubt() == after.in_doubt() == []


def test_a_column_that_takes_no_thousands_takes_the_doubt_away():
    mark = DecimalMark(";")
    mark.with_point("12,345", 2, DIAMETER)

    assert mark.in_doubt() == []


def test_where_commas_separate_a_point_is_always_the_decimal_mark():
    mark = DecimalMark(",")

    assert mark.with_point("1.234", 2, LIFE) == "1.234"
    assert mark.in_doubt() == []


def test_a_number_in_doubt_refuses_the_file(read_file):
    content = "tool_spec;holder_type;cutting_items;life_parts\nS1;T1;I1;800\nS2;T1;I1;1,200\n"

    assert read_file(TOOL_SPECS, content).errors == [
        "tool_specs.csv:3:life_parts: '1,200' could be thousands or decimals; show another "
        "number of decimals, or no thousands separator"
    ]


def test_mixed_marks_are_refused_with_both_lines(read_file):
    content = "holder_type;designation;reach_mm\nT1;X;12,5\nT2;X;12.5\n"

    assert read_file(HOLDER_TYPES, content).errors == [
        "holder_types.csv:3:reach_mm: '12.5' has a decimal point, but line 2 has a decimal "
        "comma; write the same one in the whole file"
    ]
