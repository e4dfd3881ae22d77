"""What the commands share: talk to stderr, data to stdout, the database of the settings."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.settings import Settings

if TYPE_CHECKING:
    from crib.store.engine import Store

#: Asks for JSON in the place of lines.
as_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
a_folder = click.Path(file_okay=False, path_type=Path)
a_file = click.Path(dir_okay=False, path_type=Path)


def say(text: str) -> None:
    """Talk to whoever reads along, on standard error."""
    click.echo(text, err=True)


def print_json(value: object) -> None:
    """Data as JSON on standard output."""
    from api.http.json_body import dump_json

    click.echo(dump_json(value).decode())


@contextmanager
def the_store() -> Iterator[Store]:
    """The database that the settings name, brought up to date, closed at the end."""
    from crib.store.migrate import open_store

    store = open_store(Settings.from_environment().database_url)
    try:
        yield store
    finally:
        store.close()
