"""Which files of a folder are shop files, and which look as if they were meant to be."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from crib.records.catalogue import SHOP_FILES
from crib.records.columns import Record
from crib.shopfiles.errors import Problems, RowError, nearest


def find_files(
    folder: Path, problems: Problems, notices: list[str]
) -> list[tuple[Record, Path]]:
    """The shop files of a folder in the order in which they refer to each other.

    A file that ends in ``.csv`` and is not known is a problem, since its rows would be missed.
    Other files are not read but named in ``notices``, except hidden ones.
    """
    if not folder.is_dir():
        what = "is a file, not a folder" if folder.exists() else "does not exist"
        problems.add(
            RowError(str(folder), None, "", None, what, "name the folder that holds the files")
        )
        return []
    records = {record.file: record for record in SHOP_FILES if record.file}
    found: dict[str, Path] = {}
    try:
        paths = sorted(folder.iterdir())
    except OSError as problem:
        what = f"cannot be read ({problem.strerror})"
        problems.add(RowError(str(folder), None, "", None, what, "look at its permissions"))
        return []
    for path in paths:
        if path.name.startswith("."):
            continue
        if path.suffix.lower() != ".csv":
            notices.append(_not_read(path, records))
            continue
        if path.name in records and path.is_file():
            found[path.name] = path
        else:
            stem = nearest(path.stem, (name.removesuffix(".csv") for name in records))
            near = f"{stem}.csv" if stem else None
            what = "is a folder" if path.is_dir() else "is no shop file"
            right = (
                f"perhaps {near} is meant"
                if near and near != path.name
                else f"known are {', '.join(records)}"
            )
            problems.add(RowError(path.name, None, "", None, what, right))
    if not found and not problems.count:
        right = f"put one or more of {', '.join(records)} there"
        problems.add(RowError(str(folder), None, "", None, "holds no shop file", right))
    return [(record, found[name]) for name, record in records.items() if name in found]


def _not_read(path: Path, records: Iterable[str]) -> str:
    if path.is_dir():
        return f"{path.name} is a folder: what is in it is not read."
    stem = nearest(path.stem, (name.removesuffix(".csv") for name in records))
    if stem:
        return f"{path.name} is not read: save it as {stem}.csv."
    return f"{path.name} is not read: shop files end in .csv."
