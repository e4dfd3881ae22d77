"""How a file was written: its encoding, its separator, its lines; recognised, never guessed.

Spreadsheets write what their language habits say: UTF-8 with or without a mark, UTF-16,
commas, semicolons or tabs between cells, three kinds of line end, and sometimes a first line
``sep=;``. All of these follow from the bytes. A file in an older 8-bit encoding
cannot, and is refused at its first byte that is no UTF-8.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from crib.shopfiles.errors import RowError

_HEAD_BYTES = 65_536
_LONGEST_LINE = 1_000_000
#: Most lines without a cell, one after the other.
_MOST_BLANK = 10_000

_SAVE = "save it as UTF-8 CSV"

_MARKS = (
    (codecs.BOM_UTF32_LE, None),
    (codecs.BOM_UTF32_BE, None),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_OFFICE_STARTS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


class Unreadable(Exception):  # noqa: N818 - carries the error to report, ends one file
    """Nothing more can be read from a file; carries what to report."""

    def __init__(self, error: RowError) -> None:
        super().__init__(str(error))
        self.error = error


@dataclass(frozen=True, slots=True)
class Dialect:
    """How one file was written.

    Attributes:
        encoding: Name of the codec, without the mark at the start.
        separator: What stands between cells: comma, semicolon or tab.
        first_line: Line with which the table may start (2 after a line ``sep=;``).
    """

    encoding: str
    separator: str
    first_line: int = 1


def recognise(path: Path, columns: Iterable[str]) -> Dialect:
    """How a file was written, from its first lines.

    Args:
        path: The file.
        columns: Column names that its header may hold; the separator is the one with which
            most of them are found.

    Raises:
        Unreadable: No text, or text of which the encoding is not known.
    """
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    encoding = _encoding(path, head)
    lines = io.StringIO(head.decode(encoding, errors="replace").lstrip("\ufeff"), newline=None)
    first = lines.readline()
    given = first.strip().strip('"')
    if given.lower().startswith("sep="):
        separator = given[4:] or "\t"  # a tab at the end went with the white space
        if separator not in (",", ";", "\t"):
            raise Unreadable(
                RowError(path.name, 1, "", given, "names an unknown separator",
                         "separate cells by commas, semicolons or tabs")
            )  # fmt: skip
        return Dialect(encoding, separator, first_line=2)
    while first and not first.strip():
        first = lines.readline()
    return Dialect(encoding, _separator(first, frozenset(columns)))


def _encoding(path: Path, head: bytes) -> str:
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            if encoding is None:
                raise Unreadable(RowError(path.name, 1, "", None, "is UTF-32 text", _SAVE))
            return encoding
    if head.startswith(_OFFICE_STARTS):
        raise Unreadable(
            RowError(path.name, None, "", None, "is a spreadsheet's own file, not CSV", _SAVE)
        )
    nothing = head.find(b"\0")
    if nothing >= 0:
        line = _count_breaks(head[:nothing].decode("latin-1")) + 1
        raise Unreadable(
            RowError(path.name, line, "", None, "holds a NUL byte: no UTF-8 text", _SAVE)
        )
    return "utf-8"


def _separator(header: str, columns: frozenset[str]) -> str:
    def found(separator: str) -> tuple[int, int]:
        cells = next(csv.reader([header], delimiter=separator), [])
        return len(columns.intersection(cell.strip() for cell in cells)), len(cells)

    return max(",;\t", key=found)  # a tie (one column, none known) is read as the plain comma


class Lines(Iterator[str]):
    """The physical lines of a file, counted, each handed to a CSV reader as one row.

    A CSV reader asks for another line inside one row only where a quoted text runs over the
    line's end. That raises :class:`OpenQuote`, after which the next line starts a fresh row:
    one stray quote spoils its own row and no more.

    Attributes:
        number: Number of the line handed out last.
        in_row: Set when a line is handed out; the receiver of the row clears it.
    """

    def __init__(self, stream: TextIO, name: str) -> None:
        self._stream = stream
        self._name = name
        self.number = 0
        self.in_row = False
        self._blank = 0

    def __next__(self) -> str:
        if self.in_row:
            raise OpenQuote
        line = self._stream.readline(_LONGEST_LINE)
        if not line:
            raise StopIteration
        self.number += 1
        if len(line) >= _LONGEST_LINE:
            raise Unreadable(
                RowError(self._name, self.number, "", None,
                         f"is longer than {_LONGEST_LINE} characters: no table of a shop",
                         _SAVE)
            )  # fmt: skip
        self._blank = 0 if line.strip(" \t\r\n,;") else self._blank + 1
        if self._blank > _MOST_BLANK:
            raise Unreadable(
                RowError(self._name, self.number, "", None,
                         f"is blank, like the {_MOST_BLANK} lines before it",
                         "take the blank lines out")
            )  # fmt: skip
        if self.number == 1:
            line = line.removeprefix("\ufeff")
        self.in_row = True
        return line


class OpenQuote(Exception):  # noqa: N818 - told apart from csv.Error, never seen outside
    """A row goes on after the end of its line."""


def bad_byte(path: Path, encoding: str) -> RowError:
    """The place of the first byte that is no text in ``encoding``, as an error to report."""
    decoder = codecs.getincrementaldecoder(encoding)()
    unify = io.IncrementalNewlineDecoder(None, translate=True)
    line, last = 1, False
    with path.open("rb") as stream:
        while not last:
            chunk = stream.read(_HEAD_BYTES)
            last = not chunk
            try:
                line += unify.decode(decoder.decode(chunk, last)).count("\n")
            except UnicodeDecodeError as problem:
                before = problem.object[: problem.start].decode(encoding)
                line += unify.decode(before, final=True).count("\n")
                byte = problem.object[problem.start]
                meant = bytes([byte]).decode("cp1252", errors="ignore")
                hint = f" ('{meant}' in Windows-1252)" if meant and byte > 0x7F else ""
                return RowError(
                    path.name, line, "", None,
                    f"holds the byte 0x{byte:02X}{hint}, which is no {encoding.upper()}", _SAVE,
                )  # fmt: skip
    return RowError(path.name, None, "", None, "changed while it was read", "import it again")


def _count_breaks(text: str) -> int:
    return io.IncrementalNewlineDecoder(None, translate=True).decode(text).count("\n")
