"""One shop file as a stream of typed rows, every slip reported with its line and column."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple, TextIO

from crib.errors import Invalid
from crib.records.columns import Column, Record
from crib.records.plain_text import as_meant
from crib.records.rules import Problem, problems_of
from crib.records.values import print_cell, read_cell, read_names, right_for
from crib.shopfiles.decimals import DecimalMark
from crib.shopfiles.dialect import (
    Dialect,
    Lines,
    OpenQuote,
    Unreadable,
    bad_byte,
    recognise,
)
from crib.shopfiles.errors import Problems, RowError, nearest, reason_and_right

_MARKED_KINDS = frozenset({"number", "length", "money"})
_REMEMBERED = 10_000  # different texts per column of which the value is kept

Cell = Callable[[str, int], object]


class Row(NamedTuple):
    """One row: where it stands, what it holds, whether all of it could be read.

    ``values`` has the columns that the file has, and of the absent ones those that are part
    of the key (their default).
    """

    line: int
    values: dict[str, object]
    whole: bool


class ShopFile:
    """A shop file to be read once, row after row; cells lose the white space around them.

    Args:
        path: The file.
        record: What its rows are.
        problems: Takes what is wrong.

    Attributes:
        complete: Whether every row could at least be split off; set by reading to the end.
        bytes_read: How far reading has come [bytes].
    """

    def __init__(self, path: Path, record: Record, problems: Problems) -> None:
        self.path = path
        self.record = record
        self.complete = False
        self._problems = problems
        self._stream: TextIO | None = None
        key = [record.column(name) for name in record.key]
        self._optional_key = [column for column in key if not column.required]

    @property
    def bytes_read(self) -> int:
        """How far reading has come [bytes]."""
        return self._stream.buffer.tell() if self._stream else 0

    def __iter__(self) -> Iterator[Row]:
        """Rows in file order; ends early where the file cannot be understood further."""
        encoding = "utf-8"
        try:
            dialect = recognise(self.path, (column.name for column in self.record.columns))
            encoding = dialect.encoding
            with self.path.open(encoding=encoding, newline="") as stream:
                self._stream = stream
                yield from self._rows(Lines(stream, self.path.name), dialect)
        except Unreadable as problem:
            self._problems.add(problem.error)
            self.complete = False
        except UnicodeDecodeError:
            self._problems.add(bad_byte(self.path, encoding))
            self.complete = False
        except OSError as problem:
            self._report(
                None,
                "",
                None,
                f"cannot be read ({problem.strerror})",
                "look at its permissions",
            )
            self.complete = False
        finally:
            self._stream = None

    def _rows(self, lines: Lines, dialect: Dialect) -> Iterator[Row]:
        self.complete = True
        mark = DecimalMark(dialect.separator)
        plan: list[tuple[Column | None, Cell]] | None = None
        for cells in self._cells(lines, dialect):
            if plan is None:
                plan = self._plan(cells, lines.number, mark)
                if plan is None:
                    self.complete = False
                    return
            elif len(cells) != len(plan):
                self.complete = False
                cell_count = f"{len(cells)} cell{'' if len(cells) == 1 else 's'}"
                self._report(
                    lines.number, "", None,
                    f"has {cell_count}, the header names {len(plan)} columns",
                    "write as many, and put a text that holds the separator in quotes",
                )  # fmt: skip
            else:
                yield self._row(plan, cells, lines.number)
        if plan is None and self.complete:
            self.complete = False
            self._report(
                None, "", None, "is empty",
                "start with a line of column names: " + ",".join(
                    column.name for column in self.record.columns),
            )  # fmt: skip
        for line, column, text in mark.in_doubt():
            self._report(
                line, column, text,
                "could be thousands or decimals",
                "show another number of decimals, or no thousands separator",
            )  # fmt: skip

    def _cells(self, lines: Lines, dialect: Dialect) -> Iterator[list[str]]:
        """Cells of each row that is not blank."""
        reader = csv.reader(lines, delimiter=dialect.separator, strict=True)
        while True:
            try:
                cells = next(reader)
            except StopIteration:
                return
            except (OpenQuote, csv.Error) as problem:
                lines.in_row = False
                self.complete = False
                self._report(lines.number, "", None, *_broken_row(problem))
                continue
            lines.in_row = False
            if lines.number < dialect.first_line:
                continue
            if any(cells) and any(cell.strip() for cell in cells):
                yield cells

    def _plan(
        self, header: list[str], line: int, mark: DecimalMark
    ) -> list[tuple[Column | None, Cell]] | None:
        """What to do with each cell of a row; None when the header is not right."""
        known = {column.name: column for column in self.record.columns}
        names = [name.strip() for name in header]
        before = self._problems.count
        for position, name in enumerate(names):
            if name and name not in known:
                near = nearest(name, known)
                self._report(
                    line, name, None, f"is no column of {self.path.name}",
                    f"perhaps {near} is meant" if near else f"known are {', '.join(known)}",
                )  # fmt: skip
            elif name and name in names[:position]:
                self._report(line, name, None, "is there twice", "leave one of the columns out")
        for column in self.record.columns:
            if column.required and column.name not in names:
                self._report(line, column.name, None, "is missing", "add the column")
        if self._problems.count > before:
            return None
        return [
            (known[name], self._reader(known[name], mark)) if name else (None, _no_cell)
            for name in names
        ]

    def _reader(self, column: Column, mark: DecimalMark) -> Cell:
        if column.many:
            return lambda text, line: read_names(column, text)
        if column.kind == "text":
            return lambda text, line: read_cell(column, text)
        # numbers, words and dates repeat down a column: each text is read once
        seen: dict[str, object] = {}
        marked = column.kind in _MARKED_KINDS

        def read(text: str, line: int) -> object:
            if text in seen:
                return seen[text]
            plain = mark.with_point(text, line, column) if marked else text
            value = read_cell(column, plain)
            if len(seen) < _REMEMBERED:
                seen[text] = value
            return value

        return read

    def _row(self, plan: list[tuple[Column | None, Cell]], cells: list[str], line: int) -> Row:
        values: dict[str, object] = {}
        before = self._problems.count
        for (column, read), cell in zip(plan, cells, strict=True):
            text = as_meant(cell.strip())
            if column is None:
                if text:
                    what = "stands in a column without a name"
                    self._report(line, "", text, what, "name the column or empty the cell")
            elif text:
                try:
                    values[column.name] = read(text, line)
                except Invalid as problem:
                    reason, right = reason_and_right(problem, right_for(column))
                    self._report(line, column.name, text, reason, right)
            elif column.required:
                self._report(line, column.name, None, "is empty", right_for(column))
            else:
                values[column.name] = column.default
        for column in self._optional_key:
            values.setdefault(column.name, column.default)
        if self._problems.count == before:
            for wrong in problems_of(self.record, values):
                self._report_rule(line, wrong, values)
        return Row(line, values, self._problems.count == before)

    def _report_rule(self, line: int, wrong: Problem, values: dict[str, object]) -> None:
        value = values.get(wrong.column)
        text = None if value is None else print_cell(self.record.column(wrong.column), value)
        self._report(line, wrong.column, text, wrong.reason, wrong.right)

    def _report(
        self, line: int | None, column: str, value: str | None, reason: str, right: str
    ) -> None:
        self._problems.add(RowError(self.path.name, line, column, value, reason, right))


def _no_cell(text: str, line: int) -> object:
    raise AssertionError("a column without a name has no values")


def _broken_row(problem: Exception) -> tuple[str, str]:
    if isinstance(problem, OpenQuote) or "end of data" in str(problem):
        return (
            "has a quoted text that goes on after the end of the line",
            "write every row on one line, and double a quote inside a quoted text",
        )
    if "field limit" in str(problem):
        return "has a cell of a whole page", "write a name or a number into it"
    return "has text after a closing quote", "double a quote inside a quoted text"
