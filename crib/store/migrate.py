"""Bringing a database to the present shape: numbered migrations, no ini file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import inspect, text

from crib.errors import Refusal
from crib.store.digest_checks import digest_findings
from crib.store.engine import Store, raw

if TYPE_CHECKING:
    from alembic.script import ScriptDirectory

#: Number of the newest migration (a test compares it with the files).
HEAD = "0016"

_FOLDER = Path(__file__).parent / "migrations"


def open_store(url: str) -> Store:
    """Open a database, creating it or bringing it to the present shape first.

    Args:
        url: SQLAlchemy URL, ``sqlite:////path/to/file`` or ``sqlite://`` (memory).

    Raises:
        Refusal: The database was written by a newer version, or is no database of ours.
    """
    store = Store(url)
    if needs_migration(store):
        migrate(store)
    return store


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
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.runtime.migration import MigrationContext, RevisionStep

    script = _script()

    present = schema_version(store)

    def steps(revision: str, _context: MigrationContext) -> list[RevisionStep]:
        if to != "base" and (present is None or present <= to):
            return script._upgrade_revs(to, revision)
        return script._downgrade_revs(to, revision)

    with store.reshape() as connection:
        for wrong in digest_findings(raw(connection)):
            raise Refusal(
                f"The database is damaged and was not migrated: {wrong} Restore a backup "
                "(crib restore FILE)."
            )
        environment = EnvironmentContext(Config(), script, fn=steps)
        environment.configure(connection=connection, transactional_ddl=True)
        environment.run_migrations()
        if connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
            raise Refusal("The migration would leave rows that point at nothing; undone.")


def _script() -> ScriptDirectory:
    from alembic.script import ScriptDirectory

    return ScriptDirectory(str(_FOLDER), version_locations=[str(_FOLDER)])
