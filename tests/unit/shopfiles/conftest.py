"""Reading one file of bytes as a shop file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from crib.records.columns import Record
from crib.shopfiles.errors import Problems
from crib.shopfiles.reading import Row, ShopFile


class Read(NamedTuple):
    rows: list[Row]
    errors: list[str]
    complete: bool

    @property
    def values(self) -> list[dict[str, object]]:
        return [row.values for row in self.rows if row.whole]


ReadFile = Callable[[Record, str | bytes], Read]


@pytest.fixture
def read_file(tmp_path: Path) -> ReadFile:
    def read(record: Record, content: str | bytes) -> Read:
        path = tmp_path / str(record.file)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        problems = Problems()
        file = ShopFile(path, record, problems)
        rows = list(file)
        return Read(rows, [str(error) for error in problems.listed], file.complete)

    return read
