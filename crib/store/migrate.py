"""Bringing a database to the present shape: numbered migrations, no ini file."""

from __future__ import annotations

import os
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import inspect, text

from crib.errors import Refusal
from crib.store.digest_checks import digest_findings
from crib.store.engine import Store, Tx, raw
from crib.store.engines.chosen import CHECKS, CONNECTING, FILES

if TYPE_CHECKING:
    from alembic.config import Config

#: Number of the newest migration (a test compares it with the files).
HEAD = "0028"

_FOLDER = Path(__file__).parent / "migrations"
#: The migrations write through one connection that alembic holds for the whole process.
_ONE_AT_A_TIME = threading.Lock()


def open_store(url: str, *, create: bool = True, bring_up: bool = True) -> Store:
    """Open a database, bringing it to the present shape first.

    Args:
        url: SQLAlchemy URL, ``sqlite:////path/to/file`` or ``sqlite://`` (memory).
        create: Make it where there is none.
        bring_up: Prove the file sound and bring it to the present shape.

    Raises:
        Refusal: There is none and none is to be made, it is no database of ours, damaged, not
            to be read or written, or was written by a newer version.
    """
    path = CONNECTING.path_of(url)
    if path is not None:
        if create and not path.exists() and not path.is_symlink():
            _make(path)
        FILES.admit(path)
        if bring_up:
            FILES.prove_sound(path)
        FILES.make_private(path)
    with FILES.in_words(path):
        store = Store(url)
        try:
            if bring_up and needs_migration(store):
                migrate(store)
        except BaseException:
            store.close()
            raise
        return store


def _make(path: Path) -> None:
    """A new database: made whole under another name, so that there is never half of one."""
    with FILES.in_words(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        making = path.with_name(f".{path.name}.{os.getpid()}.{threading.get_ident()}.making")
        FILES.make_empty(making)
        try:
            store = Store(CONNECTING.url_of(making))
            try:
                migrate(store)
            finally:
                store.close()
            _name(making, path)
        finally:
            FILES.remove(making)


def _name(making: Path, path: Path) -> None:
    """Give a new database its name, unless somebody else was quicker."""
    try:
        os.link(making, path)
    except FileExistsError:
        pass
    except OSError:  # a file system without links
        if not path.exists():
            making.rename(path)


def schema_version(store: Store) -> str | None:
    """Number of the migration that the database stands at; None in an empty one."""
    with store.engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        number = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        return None if number is None else str(number)


def needs_migration(store: Store) -> bool:
    """Whether the database is older than this version of the service.

    Raises:
        Refusal: It is newer than this version.
    """
    present = schema_version(store)
    if present is not None and present > HEAD:
        raise Refusal(
            f"The database has shape {present}; this version knows shapes up to {HEAD}. "
            "Install the newer version again, or restore a backup."
        )
    return present != HEAD


def migrate(store: Store, to: str = HEAD) -> None:
    """Bring the database up (or, for ``to`` "base" or a lower number, down) to a shape.

    All steps are one transaction: it is done wholly or not at all.

    Raises:
        Refusal: The database is damaged, or rows would be left that point at nothing; nothing
            was changed.
    """
    # costs a third of a second and is needed once in the life of a version
    from alembic import command

    present = schema_version(store)
    up = to != "base" and (present is None or present <= to)
    with _ONE_AT_A_TIME, store.reshape() as connection:
        for wrong in digest_findings(raw(connection)):
            raise Refusal(
                f"The database is damaged and was not migrated: {wrong} Restore a backup "
                "(crib restore FILE)."
            )
        (command.upgrade if up else command.downgrade)(_config(connection), to)
        if any(CHECKS.dangling_findings(raw(connection))):
            raise Refusal("The migration would leave rows that point at nothing; undone.")


def _config(connection: Tx) -> Config:
    """What Alembic's commands need: where the migrations lie, and the open transaction."""
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    run_by = Path(__file__).parent / "migrating"
    config.set_main_option("script_location", str(run_by).replace("%", "%%"))
    config.set_main_option("version_locations", str(_FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    return config
