"""Part counts in CSV files that somebody drops into a folder: each file all or nothing.

``machine,at,count[,run]`` with a header. What was read is moved to ``done/``; a file with a
bad row goes to ``refused/`` as a whole, beside a text that names line and column. The same file
again changes nothing.
"""

from __future__ import annotations

import asyncio
import csv
import logging
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from crib.acts.book_feed import CountNews, FeedNews, book_feed
from crib.acts.report_counts import MOST_READINGS
from crib.clock import Clock, parse_instant
from crib.errors import Invalid, Refusal
from crib.feed.writer import Writer
from crib.floor.path_counters import path_number
from crib.sentence import sentence, together
from crib.shopfiles.dialect import Lines, OpenQuote, Unreadable, bad_byte, recognise
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.store.savepoint import is_failure_to_write

_LOG = logging.getLogger("crib.feed")
_NEEDED = ("machine", "at", "count")
_COLUMNS = (*_NEEDED, "run", "path")
#: A file that did not change for so long is whole [s].
WHOLE_S = 2.0
_LOOK_EVERY_S = 0.5
_LARGEST = 64_000_000
#: Reasons that speak of the row and not of the counter.
_BAD_ROWS = {"in_future": "at", "too_old": "at", "unknown_run": "run", "no_path": "path"}


class BadFile(Exception):  # noqa: N818 - said of a file, not a fault of the service
    """What is wrong with a dropped file: line, column, why."""

    def __init__(self, line: int | None, column: str, why: str) -> None:
        places = (
            sentence("line {line}", line=line) if line else "",
            sentence("column {column}", column=column) if column else "",
        )
        where = ", ".join(place for place in places if place) or sentence("the file")
        super().__init__(together(": ", (where, why)))


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    count: CountNews


class DropFolder:
    """Looks for files and books them.

    Args:
        folder: Where they are dropped.
        writer: Books.
        clock: Tells the time.
        whole_s: A file that did not change for so long is whole [s].
    """

    def __init__(
        self, folder: Path, writer: Writer, clock: Clock, whole_s: float = WHOLE_S
    ) -> None:
        self._folder, self._writer, self._clock = folder, writer, clock
        self._whole_s = whole_s
        self._seen: dict[Path, tuple[tuple[int, ...], float]] = {}

    async def run(self) -> None:
        """Look again and again until cancelled."""
        told = ""
        while True:
            try:
                await self.look()
                told = ""
            except Exception as problem:
                if not is_failure_to_write(problem):
                    raise
                if told != str(problem):
                    told = str(problem)
                    _LOG.warning("dropped files wait, tried again: %s", problem)
            await asyncio.sleep(min(_LOOK_EVERY_S, self._whole_s))

    async def look(self) -> None:
        """Take in every file that is whole by now."""
        for path in sorted(self._folder.glob("*.csv")):
            if path.is_file() and self._is_whole(path):
                await self._take(path)

    def _is_whole(self, path: Path) -> bool:
        now = asyncio.get_running_loop().time()
        state = _state(path)
        before, since = self._seen.get(path, ((), now))
        if state != before:
            self._seen[path] = (state, now)
            return False
        return now - since >= self._whole_s

    async def _take(self, path: Path) -> None:
        state = self._seen[path][0]
        try:
            rows = await asyncio.to_thread(read_file, path)
            parts = await self._writer.write(lambda tx: _book(tx, self._clock(), rows))
        except (BadFile, Refusal) as problem:
            if is_failure_to_write(problem):
                raise
            self._refuse(path, str(problem))
        except Exception as problem:
            if is_failure_to_write(problem):
                raise
            _LOG.exception("file %s could not be booked", path.name)
            self._refuse(
                path,
                sentence("it could not be booked: {problem}", problem=repr(problem)[:200]),
            )
        else:
            if _state(path) != state:
                return  # it grew meanwhile: read again, what is known changes nothing
            _move(path, self._folder / "done")
            _LOG.info("file %s: %d counts, %d new", path.name, *parts)
        self._seen.pop(path, None)

    def _refuse(self, path: Path, why: str) -> None:
        target = _move(path, self._folder / "refused")
        target.with_name(target.name + ".why.txt").write_text(
            sentence("{why}\nNothing of this file was booked.\n", why=why), encoding="utf-8"
        )
        _LOG.warning("file %s refused: %s", path.name, why)


def read_file(path: Path) -> dict[str, list[_Row]]:
    """Rows of a file by machine.

    Raises:
        BadFile: A row that is not valid, or no table of counts.
    """
    if path.stat().st_size > _LARGEST:
        raise BadFile(
            1,
            "",
            sentence("the file is larger than {largest} bytes: split it", largest=_LARGEST),
        )
    try:
        dialect = recognise(path, _COLUMNS)
        with path.open(encoding=dialect.encoding, newline="") as stream:
            lines = Lines(stream, path.name)
            return _rows(lines, csv.reader(lines, delimiter=dialect.separator, strict=True))
    except Unreadable as problem:
        error = problem.error
        raise BadFile(
            error.line, error.column, together("; ", (error.reason, error.right))
        ) from problem
    except UnicodeDecodeError as problem:
        error = bad_byte(path, dialect.encoding)
        raise BadFile(
            error.line, error.column, together("; ", (error.reason, error.right))
        ) from problem


def _rows(lines: Lines, reader: Iterator[list[str]]) -> dict[str, list[_Row]]:
    found: dict[str, list[_Row]] = defaultdict(list)
    names: list[str] = []
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            break
        except (csv.Error, OpenQuote) as problem:
            raise BadFile(
                lines.number, "", sentence("a quote is not closed on its line")
            ) from problem
        lines.in_row = False
        cells = [cell.strip() for cell in cells]
        if not any(cells) or (not names and cells[0].startswith("sep=")):
            continue
        if not names:
            names = _header(lines.number, cells)
            continue
        if len(cells) != len(names):
            raise BadFile(
                lines.number,
                "",
                sentence(
                    "{cells} cells, the header has {names}", cells=len(cells), names=len(names)
                ),
            )
        row = dict(zip(names, cells, strict=True))
        found[row["machine"]].append(_row(lines.number, row))
    if not names:
        raise BadFile(1, "", sentence("there is no header: machine,at,count"))
    return found


def _header(line: int, cells: list[str]) -> list[str]:
    names = [cell.lower() for cell in cells]
    for name in names:
        if name not in _COLUMNS or names.count(name) > 1:
            raise BadFile(
                line,
                name,
                sentence(
                    "the columns are {columns}, each once", columns=together(", ", _COLUMNS)
                ),
            )
    for name in _NEEDED:
        if name not in names:
            raise BadFile(line, name, sentence("this column is missing"))
    return names


def _row(line: int, row: Mapping[str, str]) -> _Row:
    if not row["machine"]:
        raise BadFile(line, "machine", sentence("it is empty"))
    try:
        at = parse_instant(row["at"])
    except Invalid as problem:
        raise BadFile(line, "at", problem.sentence) from problem
    count = row["count"]
    if not (count.isascii() and count.isdecimal()) or len(count) > 13:
        raise BadFile(
            line,
            "count",
            sentence("'{count}' is not a whole number of parts", count=count[:40]),
        )
    path = row.get("path") or None
    number = path_number(path)
    if path is not None and number is None:
        raise BadFile(
            line,
            "path",
            sentence("'{path}' is not a path: write its number, like 2", path=path[:40]),
        )
    return _Row(line, CountNews(at, count, row.get("run") or None, path=number))


def _book(tx: Tx, present: datetime, rows: Mapping[str, list[_Row]]) -> tuple[int, int]:
    """Book a whole file; counts in it, and those that are new."""
    new = 0
    for machine, mine in rows.items():
        try:
            machine_id_by_name(tx, machine)
        except Refusal as refusal:
            raise BadFile(mine[0].line, "machine", refusal.sentence) from refusal
        for part in _parts(mine):
            news = FeedNews(machine, "folder", present, [row.count for row in part])
            done = book_feed(tx, present, news)
            for refused in () if done is None else done.refused:
                if refused.reason in _BAD_ROWS:
                    column, line = _BAD_ROWS[refused.reason], part[refused.index].line
                    raise BadFile(line, column, refused.sentence)
            new += 0 if done is None else done.accepted
    return sum(map(len, rows.values())), new


def _parts(rows: list[_Row]) -> Iterable[list[_Row]]:
    for start in range(0, len(rows), MOST_READINGS):
        yield rows[start : start + MOST_READINGS]


def _state(path: Path) -> tuple[int, ...]:
    try:
        found = path.stat()
    except FileNotFoundError:
        return ()
    return found.st_ino, found.st_size, found.st_mtime_ns


def _move(path: Path, folder: Path) -> Path:
    """Move a file; one of the same name there is kept."""
    folder.mkdir(exist_ok=True)
    target, number = folder / path.name, 2
    while target.exists():
        target = folder / f"{path.stem}-{number}{path.suffix}"
        number += 1
    os.replace(path, target)
    return target
