"""Whatever way a spreadsheet writes a table, it is read the same or refused clearly."""

from __future__ import annotations

import codecs
from pathlib import Path

import pytest

from crib.records.catalogue import HOLDER_TYPES, HOLDERS, LOTS
from crib.shopfiles.dialect import bad_byte

ROWS = [["holder", "holder_type", "location"], ["H1", "T1", "shelf ä"], ["H2", "T1", ""]]
VALUES = [
    {"holder": "H1", "holder_type": "T1", "location": "shelf ä"},
    {"holder": "H2", "holder_type": "T1", "location": None},
]


def written(separator: str, line_end: str) -> str:
    return "".join(separator.join(row) + line_end for row in ROWS)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_separators_line_ends_and_encodings_read_the_same(
    read_file, separator, line_end, encoding
):
    found = read_file(HOLDERS, written(separator, line_end).encode(encoding))

    assert found.errors == []
    assert found.values == VALUES
    assert [row.line for row in found.rows] == [2, 3]


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"', "SEP=;"])
def test_a_first_line_that_names_the_separator_is_followed_and_counted(read_file, first):
    found = read_file(HOLDERS, f"{first}\r\n" + written(";", "\r\n"))

    assert found.values == VALUES
    assert [row.line for row in found.rows] == [3, 4]


def test_a_first_line_may_name_the_tab(read_file):
    assert read_file(HOLDERS, "sep=\t\n" + written("\t", "\n")).values == VALUES


def test_an_unknown_separator_is_refused(read_file):
    found = read_file(HOLDERS, "sep=|\nholder|holder_type\n")

    assert found.errors == [
        "holders.csv:1: 'sep=|' names an unknown separator; separate cells by commas, "
        "semicolons or tabs"
    ]
    assert not found.complete


def test_big_endian_utf_16_is_read(read_file):
    content = codecs.BOM_UTF16_BE + written("\t", "\r\n").encode("utf-16-be")

    assert read_file(HOLDERS, content).values == VALUES


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_an_older_encoding_is_refused_at_its_first_byte(read_file, line_end):
    found = read_file(HOLDERS, written(";", line_end).encode("cp1252"))

    assert found.errors == [
        "holders.csv:2: holds the byte 0xE4 ('ä' in Windows-1252), which is no UTF-8; "
        "save it as UTF-8 CSV"
    ]
    assert not found.complete


@pytest.mark.parametrize("line_end", [b"\n", b"\r\n", b"\r"])
def test_the_line_of_a_bad_byte_is_exact_far_into_a_file(tmp_path: Path, line_end):
    path = tmp_path / "lots.csv"
    path.write_bytes(line_end.join([b"L1,I1,1" + "ä".encode()] * 40_000 + [b"L,\xfc,1"]))

    assert bad_byte(path, "utf-8").line == 40_001


def test_a_file_cut_off_inside_a_character_is_refused(read_file):
    content = "holder,holder_type\nH1,T1\nH2,Tä".encode()[:-1]

    assert read_file(HOLDERS, content).errors == [
        "holders.csv:3: holds the byte 0xC3 ('Ã' in Windows-1252), which is no UTF-8; "
        "save it as UTF-8 CSV"
    ]


def test_a_nul_byte_is_refused_with_its_line(read_file):
    found = read_file(HOLDERS, "holder,holder_type\nH1,T1\nH2,T\0\n")

    assert found.errors == [
        "holders.csv:3: holds a NUL byte: no UTF-8 text; save it as UTF-8 CSV"
    ]


def test_a_nul_byte_far_into_a_file_is_refused_at_its_cell(read_file):
    found = read_file(HOLDERS, "holder,holder_type\n" + "H1,T1\n" * 20_000 + "H2,T\0\n")

    assert found.errors == [
        "holders.csv:20002:holder_type: 'T\\x00' holds a line break or control character; "
        "write plain text"
    ]


@pytest.mark.parametrize("start", [b"PK\x03\x04\x14\0", b"\xd0\xcf\x11\xe0\xa1\xb1"])
def test_a_spreadsheets_own_file_is_told_from_csv(read_file, start):
    assert read_file(HOLDERS, start + b"\0" * 100).errors == [
        "holders.csv: is a spreadsheet's own file, not CSV; save it as UTF-8 CSV"
    ]


def test_utf_32_is_refused(read_file):
    content = written(",", "\n").encode("utf-32")

    assert read_file(HOLDERS, content).errors == [
        "holders.csv:1: is UTF-32 text; save it as UTF-8 CSV"
    ]


def test_a_line_without_end_is_refused_without_reading_it_whole(read_file):
    found = read_file(HOLDERS, "holder,holder_type\n" + "x" * 3_000_000)

    assert found.errors == [
        "holders.csv:2: is longer than 1000000 characters: no table of a shop; "
        "save it as UTF-8 CSV"
    ]


def test_a_decimal_comma_counts_where_semicolons_separate(read_file):
    found = read_file(HOLDER_TYPES, "holder_type;designation;reach_mm\nT1;X;12,5\n")

    assert found.values[0]["reach_mm"] == 12.5


def test_a_quoted_decimal_comma_is_refused_where_commas_separate(read_file):
    found = read_file(HOLDER_TYPES, 'holder_type,designation,reach_mm\nT1,X,"12,5"\n')

    assert found.values == []
    assert found.errors == [
        "holder_types.csv:2:reach_mm: '12,5' has a comma, and commas separate the cells of "
        "this file; write a decimal point, like 12.5, and no thousands separator"
    ]


def test_a_bare_decimal_comma_is_refused_where_commas_separate(read_file):
    found = read_file(HOLDER_TYPES, "holder_type,designation,reach_mm\nT1,X,12,5\n")

    assert found.values == []
    assert found.errors == [
        "holder_types.csv:2: has 4 cells, the header names 3 columns; write as many, and put "
        "a text that holds the separator in quotes"
    ]


def test_commas_in_texts_need_no_quotes_where_semicolons_separate(read_file):
    found = read_file(HOLDERS, "holder;holder_type;location\nH1;T1;shelf 3, left\n")

    assert found.values[0]["location"] == "shelf 3, left"


def test_a_whole_number_column_takes_no_thousands(read_file):
    found = read_file(LOTS, "lot;cutting_item;quantity\nL1;I1;1.234\nL2;I1;1,234\n")

    assert found.values == []
    assert found.errors == [
        "lots.csv:2:quantity: '1.234' is not a whole number; write a whole number, at least "
        "0, at most 10000000",
        "lots.csv:3:quantity: '1,234' is not a whole number; write a whole number, at least "
        "0, at most 10000000",
    ]
