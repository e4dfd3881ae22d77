"""Which files of a folder are shop files, and which look as if they were meant to be."""

from __future__ import annotations

from pathlib import Path

from crib.records.catalogue import SHOP_FILES
from crib.records.columns import Record
from crib.shopfiles.errors import Problems, RowError, nearest


def find_files(folder: Path, problems: Problems) -> list[tuple[Record, Path]]:
    """The shop files of a folder in the order in which they refer to each other.

    Files that do not end in ``.csv`` are nobody's business here; one that does and is not
    known is reported, since its rows would be missed without a word.
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
        if path.name.startswith(".") or path.suffix.lower() != ".csv":
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
