"""What the commands share: talk to stderr, data to stdout, the database of the settings."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.settings import BadSetting, Settings
from crib.errors import Refusal

if TYPE_CHECKING:
    from crib.store.engine import Store

#: Asks for JSON in the place of lines.
as_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
a_folder = click.Path(file_okay=False, path_type=Path)
a_file = click.Path(dir_okay=False, path_type=Path)


def say(text: str) -> None:
    """Print for the person at the terminal, on standard error."""
    click.echo(text, err=True)


def print_json(value: object) -> None:
    """Data as JSON on standard output."""
    from api.http.json_body import dump_json

    click.echo(dump_json(value).decode())


@contextmanager
def the_store(*, create: bool = False, bring_up: bool = True) -> Iterator[Store]:
    """The database that the settings name, closed at the end.

    Args:
        create: Make it where there is none.
        bring_up: Prove it sound and bring it to the shape of this version.
    """
    from crib.store.migrate import open_store

    url = Settings.from_environment().database_url
    store = open_store(url, create=create, bring_up=bring_up)
    try:
        yield store
    finally:
        store.close()


def words_for_failure(problem: Exception) -> str | None:
    """A sentence for a failure of the disk or the database; None for any other."""
    from crib.store.engines.chosen import CONNECTING, FILES

    if isinstance(problem, BrokenPipeError):  # whoever read along has gone
        return None
    try:
        path = CONNECTING.path_of(Settings.from_environment().database_url)
    except (BadSetting, Refusal):
        path = None
    return FILES.words_for(problem, path)
