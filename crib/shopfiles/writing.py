"""Shop files written back: one canonical form, so that equal records give equal bytes."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TextIO

from crib.records.columns import Column, Record
from crib.records.plain_text import inert
from crib.records.values import print_cell

_WORDS = {"text", "lines", "choice"}


def write_rows(record: Record, rows: Iterable[Mapping[str, object]], stream: TextIO) -> int:
    """Write a header with every column, then the rows; commas, line feeds, quotes where needed.

    Args:
        record: What the rows are; it must have a file.
        rows: Typed values by column name, in the order wanted; a missing one is empty.
        stream: Text stream opened with ``newline=""``.

    Returns:
        Number of rows written.
    """
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([column.name for column in record.columns])
    count = 0
    for values in rows:
        writer.writerow([_cell(column, values.get(column.name)) for column in record.columns])
        count += 1
    return count


def _cell(column: Column, value: object) -> str:
    text = print_cell(column, value)
    return inert(text) if column.kind in _WORDS else text  # a number may begin with minus


def write_file(record: Record, rows: Iterable[Mapping[str, object]], path: Path) -> int:
    """Write a whole file to disk under ``path`` (a temporary name); as :func:`write_rows`."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        count = write_rows(record, rows, stream)
        stream.flush()
        os.fsync(stream.fileno())
    return count
