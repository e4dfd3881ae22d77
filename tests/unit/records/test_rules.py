"""What the cells of one row must hold together."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from crib.records.catalogue import (
    CALENDAR_SPANS,
    CUTTING_ITEMS,
    HOLDERS,
    MACHINES,
    RUNS,
    TOOL_LIFE,
)
from crib.records.rules import is_time_zone, problems_of

EARLY, LATE = datetime(2026, 1, 5, tzinfo=UTC), datetime(2026, 1, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("record", "values", "columns"),
    [
        (HOLDERS, {"holder": "H1"}, []),
        (CALENDAR_SPANS, {"start": 0, "end": 1440, "time_zone": "Europe/Zurich"}, []),
        (
            CALENDAR_SPANS,
            {"start": 1440, "end": 0, "time_zone": "CET/X"},
            ["time_zone", "start"],
        ),
        (MACHINES, {"bar_length_mm": 3000.0, "bar_remnant_mm": 2999.0}, []),
        (MACHINES, {"bar_length_mm": 3000.0}, []),
        (MACHINES, {"bar_length_mm": 3000.0, "bar_remnant_mm": 3000.0}, ["bar_remnant_mm"]),
        (CUTTING_ITEMS, {"cutting_item": "A-1"}, []),
        (CUTTING_ITEMS, {"cutting_item": "A|1"}, ["cutting_item"]),
        (TOOL_LIFE, {"tool_material": "hss"}, []),
        (TOOL_LIFE, {"cutting_item": "A-1"}, []),
        (TOOL_LIFE, {"tool_material": None}, ["tool_material"]),
        (RUNS, {"start_at": EARLY, "end_at": LATE}, []),
        (RUNS, {"start_at": None, "end_at": LATE}, []),
        (RUNS, {"start_at": LATE, "end_at": EARLY}, ["end_at"]),
    ],
)
def test_a_row_that_contradicts_itself_is_told_by_column(record, values, columns):
    assert [problem.column for problem in problems_of(record, values)] == columns


@pytest.mark.parametrize("name", ["Europe", "", "../etc/passwd", "/etc/passwd", "UTC\0", "x/y"])
def test_what_is_no_zone_is_no_zone(name):
    assert not is_time_zone(name)


def test_zones_of_the_iana_data_are_known():
    assert is_time_zone("Europe/Zurich")
    assert is_time_zone("UTC")
