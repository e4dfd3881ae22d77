"""What a database engine gives; each protocol here is one module of an engine."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from sqlalchemy import Connection
from sqlalchemy.engine import Engine
from sqlalchemy.exc import OperationalError
from sqlalchemy.types import TypeEngine

from crib.records.columns import Column


class Cursor(Protocol):
    """Rows that a statement found."""

    @property
    def description(self) -> Any:
        """A tuple for each column, its name first."""

    def __iter__(self) -> Iterator[Any]: ...

    def fetchone(self) -> Any:
        """The next row, None behind the last."""

    def fetchmany(self, size: int, /) -> list[Any]:
        """So many rows at most."""

    def fetchall(self) -> list[Any]:
        """All rows that are left."""


class Driver(Protocol):
    """A connection of the engine's own driver; values go in for question marks."""

    def execute(self, sql: str, parameters: Sequence[Any] = ..., /) -> Cursor:
        """Run a statement."""

    def executemany(self, sql: str, parameters: Iterable[Sequence[Any]], /) -> Any:
        """Run a statement once for each row of values."""


class Columns(NamedTuple):
    """One column of a table as the database has it: ``place`` in its key, 0 for none."""

    name: str
    kind: str
    place: int


class WriterQueue(Protocol):
    """One writer at a time, of threads and processes."""

    def turn(self, *, patient: bool = False) -> AbstractContextManager[float]:
        """The turn of one writer, who may still wait so long for others [s]."""

    def begun(self) -> None:
        """The one whose turn it is waits for nobody any more."""


class Connecting(Protocol):
    """Connections, transactions, errors."""

    IN_MEMORY: str
    FAULT: type[Exception]
    NOT_TAKEN: type[Exception]

    def writer_queue(self, lock: Path, wait_s: float, behind_s: float, /) -> WriterQueue:
        """The queue of those who write to a database, by a file that they lock."""

    def path_of(self, url: str, /) -> Path | None:
        """The file that a database's URL names."""

    def url_of(self, path: Path, /) -> str:
        """The URL of a database in a file."""

    def engine_of(
        self, url: str, wait_s: float, connected: Callable[[Driver, Any], object], /
    ) -> Engine:
        """Connections to a database."""

    def begin_to_write(self, connection: Connection, left_s: float, usual_s: float, /) -> None:
        """Begin to write, waiting so long at most [s]."""

    def roll_back(self, connection: Connection, /) -> None:
        """Undo the transaction."""

    def hold_references(self, connection: Connection, /, *, hold: bool) -> None:
        """Whether rows must name rows that are there."""

    def raw(self, connection: Connection, /) -> Driver:
        """The driver's own connection of a transaction."""

    def is_full(self, problem: OperationalError, /) -> bool:
        """Whether the disk took no more."""

    def is_locked(self, problem: OperationalError, /) -> bool:
        """Whether somebody else holds the database."""


class Words(Protocol):
    """Parts of statements and of tables; conditions leave one question mark."""

    WHOLE: TypeEngine[int]
    BY_KEY: dict[str, Any]
    NEVER_AGAIN: dict[str, Any]
    ROW: str
    JOIN_IN_ORDER: str

    def only_where(self, condition: str, /) -> dict[str, Any]:
        """Of an index: it covers these rows alone."""

    def in_any_case(self, column: str, /) -> str:
        """The column is a value, in either case."""

    def same(self, column: str, /) -> str:
        """The column is a value, or both are none."""

    def least(self, one: str, other: str, /) -> str:
        """The smaller of two values of a row."""

    def greatest(self, one: str, other: str, /) -> str:
        """The greater of two values of a row."""

    def each_of(self, parameter: str, /) -> str:
        """A table with one column ``value``, out of one parameter."""

    def as_list(self, values: Collection[Any], /) -> str:
        """That parameter."""


class Guards(Protocol):
    """What the database itself refuses."""

    def outside(self, column: Column, of: str = "NEW.", /) -> str:
        """Condition: a column of a row holds what lies outside its bounds."""


class Watch(Protocol):
    """What one connection watches; see the engine's ``watching``."""

    def shape(self) -> int:
        """A number that changes with the shape of the tables."""

    def refused(self, tables: Collection[str], /) -> set[tuple[str, str]]:
        """Tables and verbs that need no watching."""

    def call(self, name: str, call: Callable[..., Any], width: int, /) -> None:
        """Let statements call a function."""

    def table(
        self,
        table: str,
        columns: Sequence[str],
        calls: Sequence[tuple[str, Sequence[str]]],
        refused: Collection[tuple[str, str]],
        /,
    ) -> None:
        """Watch one table."""

    def stop(self) -> None:
        """Watch no more."""


class Watching(Protocol):
    """Which rows a transaction touches, and what columns there are."""

    def watch(self, driver: Driver, /) -> Watch:
        """What a connection watches: nothing yet."""

    def columns_of_tables(self, driver: Driver, /) -> dict[str, list[Columns]]:
        """Every table's columns."""


class Files(Protocol):
    """The file of a database."""

    def admit(self, path: Path, /) -> None:
        """Refuse a file that is no database of the service."""

    def is_ours(self, path: Path, /) -> bool:
        """Whether a database is the service's."""

    def prove_sound(self, path: Path, /) -> None:
        """Refuse a database whose pages are damaged."""

    def make_private(self, path: Path, /) -> None:
        """Let nobody but the owner read it."""

    def make_empty(self, path: Path, /) -> None:
        """Make an empty file."""

    def in_words(self, path: Path | None, /) -> AbstractContextManager[None]:
        """Failures of disk or database inside become refusals."""

    def words_for(self, problem: BaseException, path: Path | None = None, /) -> str | None:
        """A sentence for a failure of disk or database."""

    def remove(self, path: Path, /) -> None:
        """Remove a database and all that lies beside it."""

    def copy_at_work(self, connection: Connection, to: Path, /) -> None:
        """Copy a database while others write to it."""

    def copy_at_rest(self, file: Path, to: Path, /) -> None:
        """Copy a database that nobody writes to."""

    def whole(self, path: Path, /) -> str | None:
        """What is wrong with the pages of a database; None where nothing is."""

    def opened(self, path: Path, /) -> AbstractContextManager[Driver]:
        """A connection past the service."""

    def fold(self, path: Path, /) -> bool:
        """Bring all of a database into its one file, with nobody else at it."""

    def set_aside(self, path: Path, kept: Path, /, *, folded: bool) -> None:
        """Give a database another name."""


class Checks(Protocol):
    """The engine's own proof of a database."""

    def any_text(self, driver: Driver, /) -> AbstractContextManager[None]:
        """Text is read as it is there, also where damage made it none."""

    def page_findings(self, driver: Driver, /) -> Iterator[str]:
        """What is wrong with pages, indexes and constraints."""

    def dangling_findings(self, driver: Driver, /) -> Iterator[str]:
        """Rows that name a row that is not there."""

    def dangling_rows(self, driver: Driver, table: str, /) -> Iterator[tuple[int | None, str]]:
        """Each row of a table that names a row that is not there, and the table of that."""

    def head_findings(self, driver: Driver, /) -> Iterator[str]:
        """What the head of the file says that it must not."""

    def shape_of(self, driver: Driver, /) -> Mapping[tuple[str, str], str]:
        """What every table, index and trigger is made of, by kind and name."""
