"""Every published value says where it comes from, how sure that is and how it was printed."""

import json
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FILES = sorted((HERE.parents[1] / "fixtures/published").glob("*.json"))


def rows_of(file):
    held = json.loads(file.read_text("utf-8"))
    groups = [held] if isinstance(held, list) else held.values()
    return [row for group in groups if isinstance(group, list) for row in group]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_row_carries_its_source(file):
    rows = rows_of(file)

    assert rows
    for row in rows:
        assert row["source"], row["id"]
        assert row["origin"], row["id"]
        assert row["printed"], row["id"]
        assert "tol" in row or "tolerance" in row, row["id"]
        assert row.get("quantity") or row["name"]


def test_a_row_that_our_code_holds_as_a_table_says_how_else_it_is_checked():
    marked = {
        row["id"]: row["same_table"]
        for file in FILES
        for row in rows_of(file)
        if "same_table" in row
    }

    assert marked
    ways = {"second way": 0, "no second way": 0}
    for name, told in marked.items():
        way, _, how = told.partition(": ")
        assert how, name
        ways[way] += 1
    # letters of a standard are all that nothing else can check
    assert ways["no second way"] == sum(
        name.startswith(("D-0", "D-1", "D-H")) for name in marked
    )


def test_no_two_rows_of_a_file_share_a_name():
    for file in FILES:
        names = [row["id"] for row in rows_of(file)]
        assert len(names) == len(set(names)), file.name


def test_every_file_is_read_by_a_test_that_fills_the_table():
    tests = [test.read_text("utf-8") for test in HERE.glob("test_*.py")]

    for file in FILES:
        assert any(file.name in text and "agrees(" in text for text in tests), file.name
