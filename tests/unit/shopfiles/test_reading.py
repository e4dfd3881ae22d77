"""Every slip in a file is reported at its own line and column, with what would be right."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from crib.records.catalogue import (
    CALENDAR_SPANS,
    CUTTING_ITEMS,
    HOLDER_TYPES,
    HOLDERS,
    LOTS,
    MACHINES,
    OPERATIONS,
    RUNS,
    TOOL_LIFE,
    TOOL_SPECS,
)
from crib.shopfiles.errors import MOST_LISTED, Problems
from crib.shopfiles.reading import ShopFile


def test_cells_become_typed_values(read_file):
    found = read_file(
        CUTTING_ITEMS,
        "cutting_item,kind,designation,edges,price,lead_days\n"
        ' DC11 ,INSERT,"DCGT 11, ""sharp""",2,12.5,1.5\n',
    )

    assert found.errors == []
    assert found.values == [
        {
            "cutting_item": "DC11",
            "kind": "insert",
            "designation": 'DCGT 11, "sharp"',
            "edges": 2,
            "price": 1250,
            "lead_days": 1.5,
        }
    ]


def test_lengths_instants_dates_and_lists_become_what_is_stored(read_file):
    spec = read_file(
        TOOL_SPECS,
        "tool_spec,holder_type,cutting_items,nose_radius_mm\nS1,T1,I1 | I2,0.2\n",
    )
    lot = read_file(LOTS, "lot,cutting_item,quantity,received_on\nL1,I1,5,2026-03-29\n")
    run = read_file(RUNS, "machine,part,quantity,start_at\nM1,P1,5,2026-03-29T01:30:00+01:00\n")

    assert spec.values[0]["nose_radius_mm"] == 2000
    assert spec.values[0]["cutting_items"] == ("I1", "I2")
    assert lot.values[0]["received_on"] == date(2026, 3, 29)
    assert run.values[0]["start_at"] == datetime(2026, 3, 29, 0, 30, tzinfo=UTC)


def test_an_empty_cell_takes_the_default_and_an_absent_column_says_nothing(read_file):
    found = read_file(MACHINES, "machine,x_on_diameter,name\nM1,,\n")

    assert found.values == [{"machine": "M1", "x_on_diameter": True, "name": None}]


def test_an_absent_key_column_takes_its_default(read_file):
    found = read_file(OPERATIONS, "part,sequence,tool_number,tool_spec,kind\nP1,10,1,S1,turn\n")

    assert found.values[0]["path"] == 1


def test_blank_lines_count_as_lines_and_hold_no_row(read_file):
    found = read_file(HOLDERS, b"\n\nholder;holder_type\n\nH1;T1\n;\n \n;\nH2;T1\n\n\n;\n")

    assert found.errors == []
    assert [row.line for row in found.rows] == [5, 9]


def test_a_last_line_without_end_is_read(read_file):
    assert len(read_file(HOLDERS, "holder,holder_type\nH1,T1").values) == 1


def test_a_header_alone_is_a_table_without_rows(read_file):
    found = read_file(HOLDERS, "holder,holder_type\n")

    assert (found.rows, found.errors, found.complete) == ([], [], True)


def test_columns_without_name_are_taken_while_they_are_empty(read_file):
    found = read_file(HOLDERS, "holder,holder_type,,\nH1,T1,,\nH2,T1,x,\n")

    assert len(found.values) == 1
    assert found.errors == [
        "holders.csv:3: 'x' stands in a column without a name; name the column or "
        "empty the cell"
    ]


@pytest.mark.parametrize("content", ["", "\n\n", "\ufeff", ",,\n"])
def test_an_empty_file_is_told_what_to_start_with(read_file, content):
    assert read_file(HOLDERS, content).errors == [
        "holders.csv: is empty; start with a line of column names: "
        "holder,holder_type,location,condition,remark"
    ]


CELLS = [
    (LOTS, "lot,cutting_item,quantity", "L1,I1,many",
     "lots.csv:2:quantity: 'many' is not a whole number; write a whole number, at least 0, "
     "at most 10000000"),
    (LOTS, "lot,cutting_item,quantity", "L1,I1,-1",
     "lots.csv:2:quantity: '-1' is not plausible; write a whole number, "
     "at least 0, at most 10000000"),
    (LOTS, "lot,cutting_item,quantity", "L1,I1,",
     "lots.csv:2:quantity: is empty; write a whole number, at least 0, at most 10000000"),
    (LOTS, "lot,cutting_item,quantity,received_on", "L1,I1,1,29.03.2026",
     "lots.csv:2:received_on: '29.03.2026' is not a date; write it like 2026-03-29"),
    (LOTS, "lot,cutting_item,quantity,received_on", "L1,I1,1,2026-02-30",
     "lots.csv:2:received_on: '2026-02-30' is not a date (day is out of range for month); "
     "write it like 2026-03-29"),
    (LOTS, "lot,cutting_item,quantity,received_on", "L1,I1,1,20260329",
     "lots.csv:2:received_on: '20260329' is not a date; write it like 2026-03-29"),
    (HOLDER_TYPES, "holder_type,designation,reach_mm", "T1,X,1e400",
     "holder_types.csv:2:reach_mm: '1e400' is not a finite number; write it like 12.5"),
    (HOLDER_TYPES, "holder_type,designation,reach_mm", "T1,X,1e99",
     "holder_types.csv:2:reach_mm: '1e99' is not plausible; write a number like 12.5, 0 or "
     "at least 0.1, at most 2000"),
    (HOLDER_TYPES, "holder_type,designation,reach_mm", "T1,X,nan",
     "holder_types.csv:2:reach_mm: 'nan' is not a number; write it like 12.5"),
    (HOLDER_TYPES, "holder_type,designation,reach_mm", "T1,X,１２",
     "holder_types.csv:2:reach_mm: '１２' is not a number; write it like 12.5"),
    (HOLDER_TYPES, "holder_type,designation,max_rpm", "T1,X,0",
     "holder_types.csv:2:max_rpm: '0' is not plausible; write a number like 12.5, at least "
     "1, at most 200000"),
    (TOOL_SPECS, "tool_spec,holder_type,cutting_items,lf_nominal_mm", "S,T,I,12.34567",
     "tool_specs.csv:2:lf_nominal_mm: '12.34567' is finer than 0.1 micrometre; give four "
     "places"),
    (TOOL_SPECS, "tool_spec,holder_type,cutting_items,lf_nominal_mm", "S,T,I,1 2",
     "tool_specs.csv:2:lf_nominal_mm: '1 2' is not a length; write it like 12.3456"),
    (TOOL_SPECS, "tool_spec,holder_type,cutting_items,lf_nominal_mm", "S,T,I,1000000",
     "tool_specs.csv:2:lf_nominal_mm: '1000000' is longer than any tool; check the decimal "
     "point"),
    (TOOL_SPECS, "tool_spec,holder_type,cutting_items", "S,T,I1||I2",
     "tool_specs.csv:2:cutting_items: 'I1||I2' has nothing on one side of a |; write names "
     "with | between them"),
    (TOOL_SPECS, "tool_spec,holder_type,cutting_items", "S,T,I1|I2|I1",
     "tool_specs.csv:2:cutting_items: 'I1|I2|I1' names I1 twice; write every name once"),
    (CUTTING_ITEMS, "cutting_item,kind,designation", "I1,tip,X",
     "cutting_items.csv:2:kind: 'tip' is not an allowed word; write insert "
        "or round"),
    (CUTTING_ITEMS, "cutting_item,kind,designation,price", "I1,round,X,12.345",
     "cutting_items.csv:2:price: '12.345' is not an amount; write it like 12.50"),
    (CUTTING_ITEMS, "cutting_item,kind,designation", "I|1,round,X",
     "cutting_items.csv:2:cutting_item: 'I|1' holds a |, which stands between names "
     "elsewhere; write the name without it"),
    (MACHINES, "machine,x_on_diameter", "M1,maybe",
     "machines.csv:2:x_on_diameter: 'maybe' is neither yes nor no; write yes or no"),
    (MACHINES, "machine,bar_length_mm,bar_remnant_mm", "M1,3000,3000",
     "machines.csv:2:bar_remnant_mm: '3000' is the whole bar; write what is left of one in mm"),
    (MACHINES, "machine,name", f"M1,{'x' * 501}",
     f"machines.csv:2:name: '{'x' * 59}…' is 501 characters long; at most 500 are allowed"),
    (RUNS, "machine,part,quantity,start_at", "M1,P1,5,2026-03-29 01:30",
     "runs.csv:2:start_at: '2026-03-29 01:30' is not an instant; write it like "
     "2026-03-29T01:30:00+01:00, with the offset"),
    (RUNS, "machine,part,quantity,start_at", "M1,P1,5,2026-13-29T01:30Z",
     "runs.csv:2:start_at: '2026-13-29T01:30Z' is not an instant; month must be in 1..12"),
    (RUNS, "machine,part,quantity,start_at,end_at",
     "M1,P1,5,2026-03-29T01:30Z,2026-03-28T01:30Z",
     "runs.csv:2:end_at: '2026-03-28T01:30:00Z' lies before start_at; write when "
     "the run ended"),
    (TOOL_LIFE, "tool_material,cutting_item,material_group,n,c_m_min", ",,P,0.25,200",
     "tool_life.csv:2:tool_material: and cutting_item are both empty; write one of them: it "
     "says which edges the constants are for"),
    (CALENDAR_SPANS, "calendar,weekday,start,end,attended", "C,mon,6 am,14:00,yes",
     "calendars.csv:2:start: '6 am' is not a time of day; write it like 06:00 (24:00 is "
     "allowed)"),
    (CALENDAR_SPANS, "calendar,weekday,start,end,attended", "C,mon,24:00,06:00,yes",
     "calendars.csv:2:start: '24:00' is the end of a day; write 00:00 on the next weekday"),
    (CALENDAR_SPANS, "calendar,weekday,start,end,attended,time_zone",
     "C,mon,06:00,14:00,yes,Mars/Base",
     "calendars.csv:2:time_zone: 'Mars/Base' is no IANA time zone; write it like "
     "Europe/Berlin, or leave it empty"),
]  # fmt: skip


@pytest.mark.parametrize(("record", "header", "row", "error"), CELLS)
def test_a_bad_cell_is_told_with_place_value_reason_and_right(
    read_file, record, header, row, error
):
    found = read_file(record, f"{header}\n{row}\n")

    assert found.errors == [error]
    assert found.values == []


HEADERS = [
    ("holder,holder_typ", [
        "holders.csv:1:holder_typ: is no column of holders.csv; perhaps holder_type is meant",
        "holders.csv:1:holder_type: is missing; add the column"]),
    ("holder,holder_type,colour", [
        "holders.csv:1:colour: is no column of holders.csv; known are holder, holder_type, "
        "location, condition, remark"]),
    ("Holder,holder_type", [
        "holders.csv:1:Holder: is no column of holders.csv; perhaps holder is meant",
        "holders.csv:1:holder: is missing; add the column"]),
    ("holder,holder_type,location,location", [
        "holders.csv:1:location: is there twice; leave one of the columns out"]),
    ("H1", [
        "holders.csv:1:H1: is no column of holders.csv; known are holder, holder_type, "
        "location, condition, remark",
        "holders.csv:1:holder: is missing; add the column",
        "holders.csv:1:holder_type: is missing; add the column"]),
]  # fmt: skip


@pytest.mark.parametrize(("header", "errors"), HEADERS)
def test_a_wrong_header_is_told_column_by_column(read_file, header, errors):
    found = read_file(HOLDERS, f"{header}\nH1,T1\n")

    assert found.errors == errors
    assert not found.complete


def test_column_names_may_stand_between_spaces(read_file):
    assert len(read_file(HOLDERS, " holder , holder_type \nH1,T1\n").values) == 1


@pytest.mark.parametrize(("row", "cells"), [("H1", "1 cell"), ("H1,T1,shelf,good", "4 cells")])
def test_a_row_of_other_length_is_refused(read_file, row, cells):
    found = read_file(HOLDERS, f"holder,holder_type,location\nH0,T1,a\n{row}\n")

    assert found.errors == [
        f"holders.csv:3: has {cells}, the header names 3 columns; write as many, and "
        "put a text that holds the separator in quotes"
    ]
    assert not found.complete


def test_a_line_break_inside_a_text_is_refused_at_the_line_where_it_begins(read_file):
    found = read_file(HOLDERS, 'holder,holder_type\nH1,T1\nH2,"T\n1"\nH3,T1\nH4,x y,\n')

    assert found.errors[0] == (
        "holders.csv:3: has a quoted text that goes on after the end of the line; write every "
        "row on one line, and double a quote inside a quoted text"
    )
    assert [row.values["holder"] for row in found.rows] == ["H1", "H3"]
    assert found.errors[-1].startswith("holders.csv:6: has 3 cells")


def test_a_stray_quote_spoils_its_own_row_only(read_file):
    found = read_file(HOLDERS, 'holder,holder_type\nH1,"T1\nH2,T1\nH3,T1\n')

    assert len(found.errors) == 1
    assert [row.values["holder"] for row in found.rows] == ["H2", "H3"]


def test_a_quote_left_open_in_the_last_line_is_refused(read_file):
    found = read_file(HOLDERS, 'holder,holder_type\nH1,"T1')

    assert found.errors == [
        "holders.csv:2: has a quoted text that goes on after the end of the line; write every "
        "row on one line, and double a quote inside a quoted text"
    ]


def test_text_after_a_closing_quote_is_refused(read_file):
    found = read_file(HOLDERS, 'holder,holder_type\nH1,"3/8" drill"\nH2,T1\n')

    assert found.errors == [
        "holders.csv:2: has text after a closing quote; double a quote inside a quoted text"
    ]
    assert len(found.values) == 1


def test_a_quote_in_the_middle_of_a_bare_text_is_text(read_file):
    found = read_file(HOLDERS, 'holder,holder_type\n3/8" drill,T1\n')

    assert found.values[0]["holder"] == '3/8" drill'


def test_a_cell_of_a_whole_page_is_refused(read_file):
    found = read_file(HOLDERS, "holder,holder_type\n" + "x" * 200_000 + ",T1\n")

    assert found.errors == [
        "holders.csv:2: has a cell of a whole page; write a name or a number into it"
    ]


def test_several_slips_of_a_row_are_all_told(read_file):
    found = read_file(LOTS, "lot,cutting_item,quantity,received_on\nL1,,x,y\n")

    assert [error.split(": ")[0] for error in found.errors] == [
        "lots.csv:2:cutting_item", "lots.csv:2:quantity", "lots.csv:2:received_on",
    ]  # fmt: skip


def test_formulas_and_right_to_left_text_are_plain_text(read_file):
    found = read_file(HOLDERS, "holder,holder_type\n=1+1,\u05d0\u05d1 🔧\n")

    assert found.values[0] == {"holder": "=1+1", "holder_type": "\u05d0\u05d1 🔧"}


def test_beyond_the_first_errors_the_rest_is_counted(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("lot,cutting_item,quantity\n" + "L1,I1,x\n" * (MOST_LISTED + 50))
    problems = Problems()

    list(ShopFile(path, LOTS, problems))

    assert len(problems.listed) == MOST_LISTED
    assert problems.unlisted == 50


def test_reading_tells_how_far_it_has_come(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("lot,cutting_item,quantity\n" + "L1,I1,1\n" * 50_000)
    file = ShopFile(path, LOTS, Problems())

    places = [file.bytes_read for _ in file]

    assert places == sorted(places)
    assert places[-1] == path.stat().st_size
