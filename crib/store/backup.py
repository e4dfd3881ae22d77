"""A copy of the database while it is at work, and the way back."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy.exc import OperationalError

from crib.errors import Conflict, Invalid, Refusal, StoreFull
from crib.store.checking import check
from crib.store.digest_checks import digest_findings
from crib.store.engine import Store, path_of
from crib.store.identity import in_words, is_ours, make_empty
from crib.store.migrate import migrate, needs_migration

__all__ = ["backup", "check", "restore"]


def backup(store: Store, file: Path) -> None:
    """Write a whole copy of the database to ``file``; writers go on meanwhile.

    The copy is made beside it, checked, and takes the name at the end: whatever happens,
    ``file`` is the copy of before or the new one, never half of one.

    Raises:
        StoreFull: The disk took no more.
        Refusal: The folder is not there or not writable, or the copy is damaged.
    """
    with _beside(file) as temporary:
        try:
            with store.engine.connect() as connection:
                connection.exec_driver_sql("VACUUM INTO ?", (str(temporary),))
        except OperationalError as problem:
            if "full" in str(problem.orig):
                raise StoreFull("The disk is full: no backup was written.") from problem
            raise Refusal(f"No backup was written to {file}: {problem.orig}.") from problem
        _prove_whole(temporary)
        _prove_digests(temporary)
        _sync(temporary)
        temporary.replace(file)
        _sync(file.parent)


def restore(store_url: str, file: Path) -> Path | None:
    """Put a backup in the place of the database; stop the service first.

    The backup is copied beside the database, proved whole, brought to the present shape and
    takes the name at the end.

    Args:
        store_url: URL of the database to replace; it need not exist.
        file: The backup.

    Returns:
        Where the database of before was kept; None where there was none.

    Raises:
        Invalid: ``file`` is not there, no database of ours, damaged, or contradicts itself.
        Conflict: The service is still running on the database.
    """
    path = path_of(store_url)
    if path is None:
        raise Invalid("A database in memory cannot be restored: name a file.")
    with in_words(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    if not file.is_file():
        raise Invalid(f"There is no file {file}.")
    if path.exists() and file.samefile(path):
        raise Invalid(f"{file} is the database itself, not a backup of it.")
    with _beside(path, "Nothing") as temporary:
        _copy_and_prove(file, temporary)
        kept = _set_aside(path)
        temporary.replace(path)
        _sync(path.parent)
    return kept


def _copy_and_prove(file: Path, temporary: Path) -> None:
    try:
        with (
            closing(sqlite3.connect(f"file:{_quoted(file)}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(temporary)) as copy,
        ):
            source.backup(copy)
    except sqlite3.Error as problem:
        raise Invalid(f"{file} is no whole database: {problem}.") from problem
    _prove_whole(temporary, named=file)
    if not is_ours(temporary):
        raise Invalid(f"{file} is a database, but not one of this service.")
    copied = Store(f"sqlite:///{temporary}")
    try:
        if needs_migration(copied):
            migrate(copied)
        findings = check(copied)
        if findings:
            raise Invalid(
                f"{file} contradicts itself and was not restored: {findings[0]}",
                errors=[{"field": "file", "detail": finding} for finding in findings],
            )
        with copied.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA journal_mode=DELETE")
    finally:
        copied.close()
        for name in (f"{temporary}-lock", f"{temporary}-wal", f"{temporary}-shm"):
            Path(name).unlink(missing_ok=True)
    _sync(temporary)


def _quoted(file: Path) -> str:
    """A path for an SQLite URI: ? and # would end it."""
    return str(file.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")


def _prove_whole(file: Path, named: Path | None = None) -> None:
    try:
        with closing(sqlite3.connect(file)) as connection:
            found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except sqlite3.Error as problem:
        found = str(problem)
    if found != "ok":
        raise Invalid(f"{named or file} is damaged: {found}.")


def _prove_digests(file: Path) -> None:
    """A copy of what is damaged already must not take the place of a whole one."""
    with closing(sqlite3.connect(file)) as connection:
        for finding in digest_findings(connection):
            raise Refusal(
                f"No backup was written: the database is damaged. {finding} crib check names "
                "all. Restore the last backup."
            )


def _set_aside(path: Path) -> Path | None:
    """Rename the present database; refuses while anybody has it open."""
    if not path.exists():
        return None
    whole = True
    try:
        with closing(sqlite3.connect(path, timeout=1)) as connection:
            # leaving WAL needs every other connection gone, and folds the log into the file
            mode = connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0]
            whole = mode == "delete"
    except sqlite3.OperationalError as problem:
        if "locked" in str(problem) or "busy" in str(problem):
            raise Conflict(
                f"{path} is in use: stop the service, then restore again."
            ) from problem
        whole = False
    except sqlite3.DatabaseError:
        whole = False  # a damaged file is kept as it is, with its log
    kept = _free_name(path)
    path.rename(kept)
    for suffix in ("-wal", "-shm"):
        log = Path(f"{path}{suffix}")
        if log.exists():
            if whole:
                log.unlink()
            else:
                log.rename(f"{kept}{suffix}")
    return kept


def _free_name(path: Path) -> Path:
    number = 1
    while (kept := path.with_name(f"{path.name}.before-restore-{number}")).exists():
        number += 1
    return kept


@contextmanager
def _beside(file: Path, what: str = "No backup") -> Iterator[Path]:
    """A temporary name in the same folder, gone at the end."""
    temporary = file.with_name(f".{file.name}.{os.getpid()}.partial")
    temporary.unlink(missing_ok=True)
    try:
        make_empty(temporary)
    except OSError as problem:
        raise Refusal(f"{what} was written to {file}: {problem.strerror}.") from problem
    try:
        yield temporary
    finally:
        temporary.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
