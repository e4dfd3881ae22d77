"""Whose file it is, who may read it, and the words for a file that cannot be used."""

from __future__ import annotations

import errno
import logging
import os
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from crib.errors import Refusal, StoreBusy
from crib.store.engines.sqlite.writer_queue import BUSY

#: The letters "crib", which SQLite keeps in the head of the file.
APPLICATION_ID = 0x63726962

_MAGIC = b"SQLite format 3\0"
#: Tables that every database of the service has had from the first shape on.
_OURS = {"alembic_version", "facts", "machines", "station_state", "label_codes"}
_PRIVATE = 0o600
_LOG = logging.getLogger("crib.store")

_BACK = "Restore a backup: crib restore FILE."

# words of SQLite -> what a person reads after the path
_TROUBLES = (
    ("full", "the disk is full, nothing was written. Free some space and try again."),
    ("readonly", "it is read-only here. Give this user the right to write the file and its "
     "folder."),
    ("unable to open", "it cannot be opened. See whether the folder is there and this user may "
     "write in it."),
    ("locked", "another program holds it. Try again when that is done."),
    ("not a database", f"it is damaged or no database. {_BACK}"),
    ("malformed", f"it is damaged. {_BACK}"),
    ("disk i/o", "the disk does not read or write it. See whether the disk is sound and has "
     "room."),
)  # fmt: skip


def admit(path: Path) -> None:
    """Let in a file that is a database of the service; change nothing of any other.

    Raises:
        Refusal: It is missing, no file, empty, another program's, or may not be read.
    """
    if path.is_dir():
        raise Refusal(f"{path} is a folder: CRIB_DATABASE_URL has to name a file.")
    if not path.exists():
        raise Refusal(
            f"There is no database at {path}. Set CRIB_DATABASE_URL to where it is. Or restore "
            "a backup (crib restore FILE), or begin a new one with crib migrate."
        )
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError as problem:
        raise Refusal(f"{path} cannot be read: {problem.strerror}.") from problem
    if not head:
        raise Refusal(
            f"{path} is empty: the database is lost. {_BACK} To begin a new one, remove the "
            "file first."
        )
    if head[:16] != _MAGIC:
        raise Refusal(f"{path} is no database, or its head is damaged. {_BACK}")
    if int.from_bytes(head[68:72], "big") != APPLICATION_ID and not is_ours(path):
        raise Refusal(
            f"{path} belongs to another program, or its head is damaged. Nothing was changed. "
            f"Name the right file by CRIB_DATABASE_URL. {_BACK}"
        )


def is_ours(path: Path) -> bool:
    """Whether a database is the service's by its tables too.

    Databases of before say nothing in their head, young ones only in the log beside the file.

    Raises:
        Refusal: It cannot be read.
    """
    with in_words(path), closing(sqlite3.connect(_uri(path), uri=True)) as driver:
        (number,) = driver.execute("PRAGMA application_id").fetchone()
        rows = driver.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        return number in (0, APPLICATION_ID) and {str(name) for (name,) in rows} >= _OURS


def prove_sound(path: Path) -> None:
    """Read every page once: what is damaged is not worked with.

    Raises:
        Refusal: SQLite finds something wrong.
    """
    with in_words(path), closing(sqlite3.connect(_uri(path), uri=True)) as driver:
        found = str(driver.execute("PRAGMA quick_check(1)").fetchone()[0])
    if found != "ok":
        words = " ".join(found.split())
        raise Refusal(f"{path} is damaged ({words}). {_BACK} crib check names what is wrong.")


def _uri(path: Path, mode: str = "rw") -> str:
    # ? and # would end the path
    bare = str(path.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
    return f"file:{bare}?mode={mode}"


def _logs(path: Path) -> tuple[Path, Path]:
    """Files beside a database that hold a part of it."""
    return Path(f"{path}-wal"), Path(f"{path}-shm")


def make_private(path: Path) -> None:
    """Let nobody but the owner read the database and its log; warn where that is not ours."""
    for file in (path, *_logs(path)):
        try:
            mode = stat.S_IMODE(file.stat().st_mode)
            if mode & ~_PRIVATE:
                file.chmod(mode & _PRIVATE)
        except FileNotFoundError:
            continue
        except OSError as problem:
            _LOG.warning("others may read %s, and that cannot be changed: %s", file, problem)


def make_empty(path: Path) -> None:
    """Make an empty file that nobody but the owner may read."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _PRIVATE))


@contextmanager
def in_words(path: Path | None) -> Iterator[None]:
    """Failures of the disk or the database inside become refusals with a path and a way out."""
    try:
        yield
    except UnicodeDecodeError as problem:  # SQLite's own words quote what is damaged
        raise Refusal(f"{path or 'The database'}: it is damaged. {_BACK}") from problem
    except (DBAPIError, sqlite3.Error, OSError) as problem:
        words = words_for(problem, path)
        if words is None:
            raise
        raise Refusal(words) from problem


def words_for(problem: BaseException, path: Path | None = None) -> str | None:
    """A sentence for a failure of the disk or the database; None where it is none."""
    if isinstance(problem, DBAPIError) and problem.orig is not None:
        problem = problem.orig
    where = "The database" if path is None else str(path)
    if isinstance(problem, sqlite3.Error):
        words = str(problem).lower()
        told = next((told for mark, told in _TROUBLES if mark in words), None)
        return f"{where}: {told or f'it cannot be used ({problem}).'}"
    if isinstance(problem, OSError):
        words = str(problem.strerror or problem)
        if problem.errno in (errno.ENOSPC, errno.EDQUOT):
            words = "The disk is full. Free some space and try again"
        return f"{problem.filename}: {words}." if problem.filename else f"{words}."
    return None


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection past the service."""
    with closing(sqlite3.connect(path)) as driver:
        yield driver


def copy_at_work(connection: Connection, to: Path) -> None:
    """Copy a database while others write to it."""
    connection.exec_driver_sql("VACUUM INTO ?", (str(to),))


def copy_at_rest(file: Path, to: Path) -> None:
    """Copy a database that nobody writes to."""
    with (
        closing(sqlite3.connect(_uri(file, "ro"), uri=True)) as source,
        closing(sqlite3.connect(to)) as copy,
    ):
        source.backup(copy)


def whole(path: Path) -> str | None:
    """What is wrong with the pages of a database; None where nothing is."""
    try:
        with opened(path) as driver:
            found = str(driver.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except sqlite3.Error as problem:
        return str(problem)
    return None if found == "ok" else found


def fold(path: Path) -> bool:
    """Bring all of a database into its one file; False where damage forbids it.

    Leaving WAL needs every other connection gone, and folds the log into the file.

    Raises:
        StoreBusy: Somebody has it open.
    """
    try:
        with closing(sqlite3.connect(path, timeout=1)) as driver:
            return bool(driver.execute("PRAGMA journal_mode=DELETE").fetchone()[0] == "delete")
    except sqlite3.OperationalError as problem:
        if "locked" in str(problem) or "busy" in str(problem):
            raise StoreBusy(BUSY) from problem
        return False
    except sqlite3.DatabaseError:
        return False


def set_aside(path: Path, kept: Path, *, folded: bool) -> None:
    """Give a database another name; one that could not be folded takes its log along."""
    path.rename(kept)
    for log, beside in zip(_logs(path), _logs(kept), strict=True):
        if log.exists():
            if folded:
                log.unlink()
            else:
                log.rename(beside)


def remove(path: Path) -> None:
    """Remove a database and all that lies beside it."""
    for file in (path, *_logs(path), Path(f"{path}-lock")):
        file.unlink(missing_ok=True)
