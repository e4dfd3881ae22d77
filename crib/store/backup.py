"""A copy of the database while it is at work, and the way back."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import OperationalError

from crib.errors import Conflict, Invalid, Refusal, StoreBusy, StoreFull
from crib.store.checking import check
from crib.store.digest_checks import digest_findings
from crib.store.engine import Store
from crib.store.engines.chosen import CONNECTING, FILES
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
                FILES.copy_at_work(connection, temporary)
        except OperationalError as problem:
            if CONNECTING.is_full(problem):
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
    path = CONNECTING.path_of(store_url)
    if path is None:
        raise Invalid("A database in memory cannot be restored: name a file.")
    with FILES.in_words(path):
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
        FILES.copy_at_rest(file, temporary)
    except CONNECTING.FAULT as problem:
        raise Invalid(f"{file} is no whole database: {problem}.") from problem
    _prove_whole(temporary, named=file)
    if not FILES.is_ours(temporary):
        raise Invalid(f"{file} is a database, but not one of this service.")
    copied = Store(CONNECTING.url_of(temporary))
    try:
        if needs_migration(copied):
            migrate(copied)
        findings = check(copied)
        if findings:
            raise Invalid(
                f"{file} contradicts itself and was not restored: {findings[0]}",
                errors=[{"field": "file", "detail": finding} for finding in findings],
            )
        copied.close()
        FILES.fold(temporary)
    finally:
        copied.close()
    _sync(temporary)


def _prove_whole(file: Path, named: Path | None = None) -> None:
    if found := FILES.whole(file):
        raise Invalid(f"{named or file} is damaged: {found}.")


def _prove_digests(file: Path) -> None:
    """A copy of what is damaged already must not take the place of a whole one."""
    with FILES.opened(file) as driver:
        for finding in digest_findings(driver):
            raise Refusal(
                f"No backup was written: the database is damaged. {finding} crib check names "
                "all. Restore the last backup."
            )


def _set_aside(path: Path) -> Path | None:
    """Rename the present database; refuses while anybody has it open."""
    if not path.exists():
        return None
    try:
        folded = FILES.fold(path)  # a damaged file is kept as it is, with its log
    except StoreBusy as problem:
        raise Conflict(f"{path} is in use: stop the service, then restore again.") from problem
    kept = _free_name(path)
    FILES.set_aside(path, kept, folded=folded)
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
        FILES.make_empty(temporary)
    except OSError as problem:
        raise Refusal(f"{what} was written to {file}: {problem.strerror}.") from problem
    try:
        yield temporary
    finally:
        FILES.remove(temporary)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
