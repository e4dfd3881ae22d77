"""Rows that hold for themselves but not together."""

from __future__ import annotations

from pathlib import Path

import pytest

from crib.records.catalogue import SHOP_FILES
from crib.shopfiles.checking import FolderCheck
from crib.shopfiles.errors import Problems
from crib.shopfiles.reading import ShopFile

ELSEWHERE = {
    "holder_types": {"OLD": "turning"},
    "cutting_items": {"OLD-I": "insert", "OLD-R": "round"},
    "machines": {"M9": None},
    "parts": {"P9": None},
}


@pytest.fixture
def check_folder(tmp_path: Path):
    """Errors and good rows of a folder given as {file: lines}."""

    def check(files: dict[str, str]) -> tuple[list[str], int]:
        problems = Problems()
        folder = FolderCheck(problems, lambda record: ELSEWHERE.get(record, {}))
        good = 0
        for record in SHOP_FILES:
            if str(record.file) not in files:
                continue
            path = tmp_path / str(record.file)
            path.write_text(files[str(record.file)], encoding="utf-8")
            file = ShopFile(path, record, problems)
            folder.start(record, path)
            good += sum(folder.row(row) for row in file)
            folder.finish(complete=file.complete)
        return [str(error) for error in problems.listed], good

    return check


TYPES = "holder_type,designation,kind\nT1,X,turning\nM1,X,milling\nN1,X,\n"
ITEMS = "cutting_item,kind,designation\nI1,insert,X\nR1,round,X\n"
SPECS = "tool_spec,holder_type,cutting_items,nose_radius_mm\n"
CALENDAR = "calendar,weekday,start,end,attended,time_zone\n"


def test_a_key_that_comes_again_names_its_first_line(check_folder):
    errors, good = check_folder(
        {"holder_types.csv": "holder_type,designation\nT1,X\nT2,X\nT1,Y\nT1,Z\n"}
    )

    assert errors == [
        "holder_types.csv:4:holder_type: 'T1' stands in line 2 already; keep one row per "
        "holder type",
        "holder_types.csv:5:holder_type: 'T1' stands in line 2 already; keep one row per "
        "holder type",
    ]
    assert good == 2


def test_a_key_of_several_columns_comes_once(check_folder):
    errors, _ = check_folder(
        {
            "stations.csv": "machine,station,tool_number\nM9,T1,1\nM9,T2,1\nM9,T1,2\n",
            "runs.csv": "machine,part,quantity,start_at\nM9,P9,5,\nM9,P9,6,\n",
        }
    )

    assert errors == [
        "stations.csv:4:station: 'M9 T1' stands in line 2 already; keep one row per station",
        "runs.csv:3:start_at: 'M9 P9 (empty)' stands in line 2 already; keep one row per run, "
        "or give a repeat order its own start_at",
    ]


def test_two_stations_may_hold_the_same_tool_number(check_folder):
    errors, good = check_folder(
        {"stations.csv": "machine,station,tool_number,kind\nM9,A,1,turning\nM9,B,1,turning\n"}
    )

    assert (errors, good) == ([], 2)


def test_a_reference_is_met_by_the_folder_or_by_the_database(check_folder):
    errors, good = check_folder(
        {
            "holder_types.csv": TYPES,
            "holders.csv": "holder,holder_type\nH1,T1\nH2,OLD\nH3,T9\nH4,elsewhere\n",
        }
    )

    assert errors == [
        "holders.csv:4:holder_type: 'T9' is no holder type of this folder or of the database; "
        "add it to holder_types.csv",
        "holders.csv:5:holder_type: 'elsewhere' is no holder type of this folder or of the "
        "database; add it to holder_types.csv",
    ]
    assert good == 5


def test_a_mistyped_reference_is_told_the_nearest_name(check_folder):
    errors, _ = check_folder(
        {
            "cutting_items.csv": "cutting_item,kind,designation\nDCGT-11,insert,X\n",
            "lots.csv": "lot,cutting_item,quantity\nL1,DGCT-11,5\n",
        }
    )

    assert errors == [
        "lots.csv:2:cutting_item: 'DGCT-11' is no cutting item of this folder or of the "
        "database; perhaps DCGT-11 is meant"
    ]


def test_each_name_of_a_list_must_exist(check_folder):
    errors, _ = check_folder(
        {
            "holder_types.csv": TYPES,
            "cutting_items.csv": ITEMS,
            "tool_specs.csv": SPECS + "S1,T1,I1|OLD-I,\nS2,T1,I1|gone|lost,\n",
        }
    )

    assert [error.split(" is no")[0] for error in errors] == [
        "tool_specs.csv:3:cutting_items: 'gone'", "tool_specs.csv:3:cutting_items: 'lost'",
    ]  # fmt: skip


def test_a_bad_row_is_not_missed_by_those_that_name_it(check_folder):
    errors, _ = check_folder(
        {
            "holder_types.csv": "holder_type,designation,reach_mm\nT1,X,long\n",
            "holders.csv": "holder,holder_type\nH1,T1\n",
        }
    )

    assert len(errors) == 1


def test_a_file_that_could_not_be_read_is_named_once_not_by_every_reference(check_folder):
    errors, _ = check_folder(
        {
            "holder_types.csv": "holder_type,designation\nT1\n",
            "holders.csv": "holder,holder_type\nH1,T1\nH2,T1\n",
        }
    )

    assert len(errors) == 1


def test_a_calendar_is_made_by_its_rows(check_folder):
    errors, good = check_folder(
        {
            "calendars.csv": CALENDAR + "two,mon,06:00,14:00,yes,\n",
            "machines.csv": "machine,calendar\nM1,two\nM2,three\n",
        }
    )

    assert errors == [
        "machines.csv:3:calendar: 'three' is no calendar of this folder or of the database; "
        "add it to calendars.csv"
    ]
    assert good == 2


def test_a_calendar_has_one_time_zone(check_folder):
    errors, _ = check_folder(
        {
            "calendars.csv": CALENDAR
            + "A,mon,06:00,14:00,yes,Europe/Berlin\nB,mon,06:00,14:00,yes,UTC\n"
            + "A,tue,06:00,14:00,yes,UTC\nA,wed,06:00,14:00,yes,\n"
        }
    )

    assert errors == [
        "calendars.csv:4:time_zone: 'UTC' is not the Europe/Berlin that A has in line 2; "
        "write the same zone on every row of a calendar",
        "calendars.csv:5:time_zone: is not the Europe/Berlin that A has in line 2; "
        "write the same zone on every row of a calendar",
    ]


@pytest.mark.parametrize(
    "rows",
    [
        "A,mon,06:00,14:00,yes,\nA,mon,14:00,06:00,no,\nA,tue,06:00,14:00,yes,\n",
        "A,sun,22:00,06:00,no,\nA,mon,06:00,22:00,yes,\n",
        "A,mon,00:00,24:00,yes,\nA,tue,00:00,24:00,no,\n",
        "A,mon,06:00,14:00,yes,\nB,mon,06:00,14:00,yes,\n",
        "A,mon,06:00,06:00,no,\n",
    ],
)
def test_hours_that_follow_each_other_are_taken(check_folder, rows):
    errors, good = check_folder({"calendars.csv": CALENDAR + rows})

    assert (errors, good) == ([], rows.count("\n"))


@pytest.mark.parametrize(
    ("rows", "line", "start", "inside"),
    [
        ("A,mon,06:00,14:00,yes,\nA,mon,13:59,15:00,no,\n", 3, "13:59", 2),
        ("A,mon,22:00,06:00,no,\nA,tue,05:00,07:00,yes,\n", 3, "05:00", 2),
        ("A,mon,05:00,07:00,yes,\nA,sun,22:00,06:00,no,\n", 2, "05:00", 3),
        ("A,mon,06:00,06:00,no,\nA,tue,05:00,05:30,yes,\n", 3, "05:00", 2),
        ("A,mon,06:00,20:00,no,\nA,mon,07:00,08:00,yes,\nA,mon,20:00,21:00,no,\n",
         3, "07:00", 2),
    ],
)  # fmt: skip
def test_hours_of_a_calendar_may_not_overlap(check_folder, rows, line, start, inside):
    errors, _ = check_folder({"calendars.csv": CALENDAR + rows})

    assert errors == [
        f"calendars.csv:{line}:start: '{start}' lies inside the hours of line {inside}; let "
        "hours of one calendar follow each other"
    ]


def test_a_machine_runs_one_thing_at_a_time(check_folder):
    errors, good = check_folder(
        {
            "parts.csv": "part,material,material_group,cycle_s\nP1,steel,P,30\n",
            "runs.csv": "machine,part,quantity,state\nM9,P9,5,running\nM9,P1,5,running\n",
        }
    )

    assert errors == [
        "runs.csv:3:state: 'running' is said of M9 in line 2 already; a machine makes one "
        "part at a time: plan the other run or call it done"
    ]
    assert good == 2


@pytest.mark.parametrize(
    ("holder_type", "items", "radius", "refused"),
    [
        ("T1", "I1", "0", True),
        ("T1", "I1", "0.0000", True),
        ("N1", "I1", "0", True),  # a holder that says nothing may be a turning one
        ("OLD", "OLD-I", "0", True),
        ("T1", "R1|I1", "0", True),
        ("T1", "I1", "0.0001", False),
        ("T1", "I1", "", False),
        ("T1", "R1", "0", False),
        ("M1", "I1", "0", False),
    ],
)
def test_a_turning_insert_has_a_nose_radius(check_folder, holder_type, items, radius, refused):
    errors, _ = check_folder(
        {
            "holder_types.csv": TYPES,
            "cutting_items.csv": ITEMS,
            "tool_specs.csv": SPECS + f"S1,{holder_type},{items},{radius}\n",
        }
    )

    assert errors == (
        [
            "tool_specs.csv:2:nose_radius_mm: '0' is no nose radius of a turning insert; write "
            "the radius in mm, or leave the cell empty"
        ]
        if refused
        else []
    )
