"""A folder's shop files are found; what looks like one and is not is told."""

from __future__ import annotations

from pathlib import Path

from crib.shopfiles.errors import Problems
from crib.shopfiles.folder import find_files


def found_in(folder: Path) -> tuple[list[str], list[str]]:
    problems = Problems()
    files = find_files(folder, problems, [])
    return [path.name for _, path in files], [str(error) for error in problems.listed]


def test_files_come_in_the_order_in_which_they_refer(tmp_path):
    for name in ("runs.csv", "machines.csv", "calendars.csv", "notes.txt", ".hidden.csv"):
        (tmp_path / name).touch()

    assert found_in(tmp_path) == (["calendars.csv", "machines.csv", "runs.csv"], [])


def test_an_unknown_csv_file_is_told_the_nearest_name(tmp_path):
    for name in ("holders.csv", "holder.csv", "Lots.CSV", "weather.csv"):
        (tmp_path / name).touch()

    files, errors = found_in(tmp_path)

    assert files == ["holders.csv"]
    assert errors[0] == "Lots.CSV: is no shop file; perhaps lots.csv is meant"
    assert errors[1] == "holder.csv: is no shop file; perhaps holders.csv is meant"
    assert errors[2].startswith("weather.csv: is no shop file; known are people.csv, ")


def test_a_folder_with_a_files_name_is_told(tmp_path):
    (tmp_path / "lots.csv").mkdir()

    assert found_in(tmp_path)[1][0].startswith("lots.csv: is a folder; known are")


def test_an_empty_folder_is_told_what_belongs_there(tmp_path):
    (tmp_path / "holders.xlsx").touch()

    (error,) = found_in(tmp_path)[1]

    assert error.startswith(f"{tmp_path}: holds no shop file; put one or more of people.csv, ")


def test_a_missing_folder_and_a_file_are_told_apart(tmp_path):
    (tmp_path / "file").touch()

    right = "name the folder that holds the files"
    assert found_in(tmp_path / "gone")[1] == [f"{tmp_path / 'gone'}: does not exist; {right}"]
    assert found_in(tmp_path / "file")[1] == [
        f"{tmp_path / 'file'}: is a file, not a folder; {right}"
    ]
