"""A shop file of nothing but blank lines is not read to its end."""

from pathlib import Path

import pytest

from crib.shopfiles.dialect import Lines, Unreadable


def _read(path: Path) -> int:
    with path.open(newline="") as stream:
        lines = Lines(stream, path.name)
        for _ in lines:
            lines.in_row = False
        return lines.number


def test_many_blank_lines_in_a_row_end_the_reading(tmp_path: Path):
    path = tmp_path / "holders.csv"
    path.write_text("holder\n" + "\n" * 9_000 + "H1\n" + "\n" * 100_000)

    with pytest.raises(Unreadable) as refused:
        _read(path)
    assert refused.value.error.line == 9_002 + 10_001
    assert "is blank" in refused.value.error.reason


def test_blank_lines_between_rows_are_nothing_special(tmp_path: Path):
    path = tmp_path / "holders.csv"
    path.write_text("holder\n" + "\n\nH1\n" * 20_000)

    assert _read(path) == 1 + 3 * 20_000
