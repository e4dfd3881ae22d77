"""A folder of shop files into the database: every row of it, or nothing at all.

Rows are read, checked and written as a stream in one transaction; the first error ends the
writing, not the checking, and takes back what was written. A dry run takes everything back,
so that it meets the same checks, those of the database included. Where nothing changes the
transaction is rolled back too, so that computed views stay valid.

A record that no file names stays as it is. The hours of a calendar and the operations of a
part are sets: a file that has any of them has them all, and the others go.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import NamedTuple

from crib.acts.import_guards import FactGuard
from crib.acts.import_notices import FILES, import_notices
from crib.records.catalogue import SHOP_FILES
from crib.records.columns import Record
from crib.records.rules import problems_of
from crib.records.values import print_cell
from crib.shopfiles.checking import FolderCheck
from crib.shopfiles.errors import Problems, RowError
from crib.shopfiles.folder import find_files
from crib.shopfiles.reading import Row, ShopFile
from crib.store.engine import Store, Tx
from crib.store.import_rows import count_rows, delete_owned, living_names
from crib.store.records import bulk_upsert, iterate_records

_ROWS_PER_STEP = 500

#: Called with the bytes read so far and the bytes in all.
Progress = Callable[[int, int], None]


class FileCount(NamedTuple):
    """What became of one file's rows."""

    file: str
    inserted: int
    updated: int
    unchanged: int
    removed: int


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import did, or would do, or what is to be put right first.

    Attributes:
        files: What became of each file's rows; empty where there are errors.
        errors: What is wrong, in the order of files and lines.
        unlisted: How many errors were found beyond those listed.
        dry_run: Whether everything was taken back on purpose.
        notices: What was taken as it is or not read, and should be looked at.
    """

    files: list[FileCount] = field(default_factory=list)
    errors: list[RowError] = field(default_factory=list)
    unlisted: int = 0
    dry_run: bool = False
    notices: list[str] = field(default_factory=list)

    @property
    def accepted(self) -> bool:
        """Whether the folder is right as it is."""
        return not self.errors

    @property
    def changed(self) -> bool:
        """Whether the folder holds anything that the database did not."""
        return any(file.inserted or file.updated or file.removed for file in self.files)


def import_shop(
    store: Store, folder: Path, *, dry_run: bool = False, progress: Progress | None = None
) -> ImportReport:
    """Bring a folder of shop files into the database, all rows or none.

    Args:
        store: The database.
        folder: The folder; every ``.csv`` file in it must be a shop file.
        dry_run: Check everything, against the database too, and write nothing.
        progress: Called now and then with the bytes read and the bytes there are.

    Returns:
        What was done; with ``errors``, nothing was.

    Raises:
        Refusal: The database took no more (``StoreFull``) or forbade it; nothing was written.
    """
    problems = Problems()
    notices: list[str] = []
    files = find_files(folder, problems, notices)
    counts: list[FileCount] = []
    if files:
        try:
            with store.write() as tx:
                counts = _Import(tx, problems, files, progress).run()
                if not problems.count and FILES & {record.file for record, _ in files}:
                    notices += import_notices(tx)
                changed = any(
                    count.inserted or count.updated or count.removed for count in counts
                )
                if problems.count or dry_run or not changed:
                    raise _TakeBack
        except _TakeBack:
            pass
    order = {record.file: place for place, record in enumerate(SHOP_FILES)}
    errors = sorted(
        problems.listed, key=lambda error: (order.get(error.file, -1), error.line or 0)
    )
    return ImportReport([] if errors else counts, errors, problems.unlisted, dry_run, notices)


class _TakeBack(Exception):  # noqa: N818 - ends a transaction on purpose
    """Nothing of this transaction is to stay."""


class _Import:
    """One import at work in its transaction."""

    def __init__(
        self,
        tx: Tx,
        problems: Problems,
        files: list[tuple[Record, Path]],
        progress: Progress | None,
    ) -> None:
        self.tx = tx
        self.problems = problems
        self.files = files
        self.progress = progress
        self.bytes_before = 0
        self.bytes_total = sum(path.stat().st_size for _, path in files)
        self.guard = FactGuard(tx)
        self.check = FolderCheck(problems, cache(lambda name: living_names(tx, name)))

    def run(self) -> list[FileCount]:
        return [self._file(record, path) for record, path in self.files]

    def _file(self, record: Record, path: Path) -> FileCount:
        shop_file = ShopFile(path, record, self.problems)
        self.check.start(record, path)
        self.lacking = False
        running: list[Row] = []
        rows = self._good_rows(shop_file, running)
        counts = [0, 0, 0]
        _add(counts, bulk_upsert(self.tx, record, rows))
        # a machine runs one thing: what has ended gives way before what runs now comes
        _add(counts, bulk_upsert(self.tx, record, self._runs_that_may(path, running)))
        removed = 0
        self.check.finish(complete=shop_file.complete)
        if self.lacking and not self.problems.count:
            self._check_with_stored(record, path)
        if record.owner and not self.problems.count:
            removed = self._remove_stale(record, sum(counts))
        self.bytes_before += path.stat().st_size
        self._tell(0)
        return FileCount(path.name, counts[0], counts[1], counts[2], removed)

    def _good_rows(self, file: ShopFile, running: list[Row]) -> Iterator[dict[str, object]]:
        """Check every row; hand on the good ones as long as all were good."""
        for number, row in enumerate(file):
            if number % _ROWS_PER_STEP == 0:
                self._tell(file.bytes_read)
            if self.check.row(row):
                for wrong in self.guard.problems_of(file.record, row.values):
                    column = file.record.column(wrong.column)
                    text = print_cell(column, row.values.get(column.name))
                    self._report(
                        file.path, row.line, column.name, text, wrong.reason, wrong.right
                    )
            if self.problems.count:
                continue
            self.lacking |= len(row.values) < len(file.record.columns)
            if file.record.name == "runs" and row.values.get("state") == "running":
                running.append(row)
            else:
                yield row.values

    def _runs_that_may(self, path: Path, running: list[Row]) -> Iterator[dict[str, object]]:
        for row in running:
            machine = str(row.values["machine"])
            other = self.guard.other_running(machine, row.values)
            if other:
                self._report(
                    path, row.line, "state", "running",
                    f"cannot be: {machine} runs {other} in the database",
                    "call that run done, in a row of its own",
                )  # fmt: skip
            else:
                yield row.values

    def _check_with_stored(self, record: Record, path: Path) -> None:
        """Rows whose file lacks columns keep what is stored there: both must fit together."""
        for row in iterate_records(self.tx, record):
            line = self.check.line_of(row)
            for wrong in problems_of(record, row) if line else ():
                text = print_cell(record.column(wrong.column), row[wrong.column]) or None
                self._report(path, line, wrong.column, text, wrong.reason, wrong.right)

    def _remove_stale(self, record: Record, in_file: int) -> int:
        """Rows of a set that the file has, but without them."""
        if count_rows(self.tx, record) == in_file:
            return 0
        owner = record.key[0]
        owners = self.check.first_parts()
        stale = [
            (int(str(row["id"])), str(row[owner]))
            for row in iterate_records(self.tx, record)
            if row[owner] in owners and not self.check.line_of(row)
        ]
        return delete_owned(self.tx, record, stale)

    def _tell(self, bytes_of_file: int) -> None:
        if self.progress:
            self.progress(self.bytes_before + bytes_of_file, self.bytes_total)

    def _report(
        self, path: Path, line: int | None, column: str, value: str | None, *said: str
    ) -> None:
        self.problems.add(RowError(path.name, line, column, value, *said))


def _add(counts: list[int], more: tuple[int, int, int]) -> None:
    for place, number in enumerate(more):
        counts[place] += number
