"""Cells become values and values cells, both ways, and nothing else is taken."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import Invalid
from crib.records.catalogue import CATALOGUE
from crib.records.columns import Column
from crib.records.values import print_cell, read_cell, read_names, right_for

CANONICAL = [
    (Column("c"), "a name, \"quoted\" 'so' ä", "a name, \"quoted\" 'so' ä"),
    (Column("c", "integer"), 12, "12"),
    (Column("c", "number"), 12.5, "12.5"),
    (Column("c", "number"), 12.0, "12"),
    (Column("c", "number"), 1e-5, "1e-05"),
    (Column("c_mm", "length"), -5, "-0.0005"),
    (Column("c", "money"), 1250, "12.50"),
    (Column("c", "yes_no"), True, "yes"),
    (Column("c", "yes_no"), False, "no"),
    (Column("c", "date"), date(2026, 3, 29), "2026-03-29"),
    (Column("c", "time"), 0, "00:00"),
    (Column("c", "time"), 1440, "24:00"),
    (Column("c", "instant"), datetime(2026, 3, 29, 0, 30, tzinfo=UTC), "2026-03-29T00:30:00Z"),
    (Column("c", "choice", choices=("+LF", "-LF")), "-LF", "-LF"),
]


@pytest.mark.parametrize(("column", "value", "text"), CANONICAL)
def test_a_value_is_printed_as_it_is_read(column, value, text):
    assert print_cell(column, value) == text
    assert read_cell(column, text) == value


def test_nothing_is_an_empty_cell():
    assert print_cell(Column("c", "integer"), None) == ""


@pytest.mark.parametrize("text", ["06:00", "6:00", "06:00:00"])
def test_a_time_may_be_written_as_a_spreadsheet_does(text):
    assert read_cell(Column("c", "time"), text) == 360


@pytest.mark.parametrize("text", ["24:01", "12:60", "-1:00", "6", "06:00:30", "06:00 PM"])
def test_what_is_no_time_of_day_is_refused(text):
    with pytest.raises(Invalid, match="is not a time of day"):
        read_cell(Column("c", "time"), text)


@pytest.mark.parametrize("text", ["1_0", "1.0", "0x1", "1e3", "--1", "٣", "1" * 19])
def test_what_is_no_whole_number_is_refused(text):
    with pytest.raises(Invalid, match="is not a whole number"):
        read_cell(Column("c", "integer"), text)


@pytest.mark.parametrize("text", ["inf", "nan", "1,5", "1_0", "12 mm", "1e", "."])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(Invalid, match=r"is not a number; write it like 12\.5"):
        read_cell(Column("c", "number"), text)


def test_a_number_beyond_all_numbers_is_refused():
    with pytest.raises(Invalid, match="is not a finite number"):
        read_cell(Column("c", "number"), "1e400")


def test_bounds_hold_in_the_unit_of_the_name():
    length = Column("c_mm", "length", above=0, maximum=1)

    assert read_cell(length, "1") == 10_000
    with pytest.raises(
        Invalid,
        match=r"is not plausible; write a length in mm like 12\.3456, more than 0, at most 1",
    ):
        read_cell(length, "1.0001")
    with pytest.raises(Invalid, match="is not plausible"):
        read_cell(length, "0")


def test_names_are_split_trimmed_and_printed_back():
    column = Column("c", reference="cutting_items", many=True)

    assert read_names(column, " A | B ") == ("A", "B")
    assert print_cell(column, ("A", "B")) == "A|B"


@pytest.mark.parametrize("text", ["A|", "|", "A||B", "A|A", "A|\x00"])
def test_a_list_with_a_gap_or_a_repeat_is_refused(text):
    with pytest.raises(Invalid):
        read_names(Column("c", many=True), text)


@pytest.mark.parametrize(
    ("column", "right"),
    [
        (Column("c", "choice", choices=("a", "b", "c")), "write a, b or c"),
        (Column("c", "number", above=0, maximum=200_000),
         "write a number like 12.5, more than 0, at most 200000"),
        (Column("c", "integer", maximum=99_999_999), "write a whole number, at most 99999999"),
        (Column("c", many=True), "write names with | between them"),
    ],
)  # fmt: skip
def test_every_column_says_what_it_takes(column, right):
    assert right_for(column) == right


def test_every_column_of_the_catalogue_says_what_it_takes():
    for record in CATALOGUE:
        for column in record.columns:
            assert right_for(column).startswith("write ")


@given(st.floats(min_value=-1e8, max_value=1e8))
def test_any_number_survives_its_cell(value):
    column = Column("c", "number")

    assert read_cell(column, print_cell(column, value)) == value


@given(st.datetimes(timezones=st.just(UTC)))
def test_any_instant_survives_its_cell(value):
    column = Column("c", "instant")

    assert read_cell(column, print_cell(column, value)) == value


@given(st.integers(min_value=-(10**9), max_value=10**9))
def test_any_length_and_amount_survive_their_cells(value):
    for column in (Column("c_mm", "length"), Column("c", "money")):
        assert read_cell(column, print_cell(column, value)) == value
