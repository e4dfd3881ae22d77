"""Files are written in one canonical form."""

from __future__ import annotations

import io
from datetime import UTC, datetime

from crib.records.catalogue import HOLDERS, RUNS, STATIONS, TOOL_SPECS
from crib.shopfiles.writing import write_file, write_rows


def test_a_header_with_every_column_comes_first_even_without_rows():
    stream = io.StringIO(newline="")

    assert write_rows(HOLDERS, [], stream) == 0
    assert stream.getvalue() == "holder,holder_type,location,condition,remark\n"


def test_quotes_stand_only_where_they_are_needed():
    stream = io.StringIO(newline="")
    rows = [
        {"holder": 'a "b", c', "holder_type": "it's; so", "location": "=1+1", "condition": None}
    ]

    assert write_rows(HOLDERS, rows, stream) == 1
    assert stream.getvalue().splitlines()[1] == '"a ""b"", c",it\'s; so,\'=1+1,,'


def test_words_that_a_spreadsheet_would_run_are_written_inert_and_read_back(read_file):
    words = ["=1+1", "'=1+1", "''=1+1", "+H", "-5", "@SUM(A1)", "－5", "'quoted", "plain"]
    rows = [{"holder": one, "holder_type": "T1", "location": one} for one in words]
    stream = io.StringIO(newline="")

    write_rows(HOLDERS, rows, stream)
    found = read_file(HOLDERS, stream.getvalue())

    assert found.errors == []
    assert [row["holder"] for row in found.values] == words
    assert [row["location"] for row in found.values] == words
    cells = [cell for line in stream.getvalue().splitlines() for cell in line.split(",")]
    assert not [cell for cell in cells if cell.startswith(tuple("=+-@－"))]


def test_numbers_below_zero_stay_numbers():
    stream = io.StringIO(newline="")

    write_rows(STATIONS, [{"machine": "M1", "axis_x": "-LF", "datum_x_mm": -125000}], stream)

    cells = stream.getvalue().splitlines()[1].split(",")
    assert ("'-LF" in cells, "-12.5000" in cells) == (True, True)


def test_values_are_printed_as_they_are_read(tmp_path):
    spec = {
        "tool_spec": "S1", "holder_type": "T1", "cutting_items": ("A", "B"),
        "nose_radius_mm": 2000, "failure_cost": 12000, "life_parts": 800.0,
    }  # fmt: skip
    run = {
        "machine": "M1", "part": "P1", "quantity": 5, "state": "planned",
        "start_at": datetime(2026, 1, 5, 6, tzinfo=UTC),
    }  # fmt: skip

    write_file(TOOL_SPECS, [spec], tmp_path / "specs")
    write_file(RUNS, [run], tmp_path / "runs")

    assert (tmp_path / "specs").read_bytes().splitlines()[1] == (
        b"S1,,T1,A|B,,0.2000,,,,,,,,,,,800,120.00,"
    )
    assert (tmp_path / "runs").read_bytes().splitlines()[1] == (
        b"M1,P1,5,2026-01-05T06:00:00Z,planned,"
    )
