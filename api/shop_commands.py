"""Commands for a folder of shop files: import and export."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from api.terminal import a_folder, as_json_option, print_json, say, the_store
from crib.records.catalogue import SHOP_FILES

_FILES = "Files and their required columns:\n\n" + "\n\n".join(
    f"{record.file}: {', '.join(column.name for column in record.columns if column.required)}"
    for record in SHOP_FILES
)


@click.command(
    name="import",
    epilog=f"{_FILES}\n\nAll columns and what they take: /help/shop-files of the service.",
)
@click.argument("folder", type=a_folder)
@click.option("--dry-run", is_flag=True, help="Check everything, write nothing.")
@as_json_option
def import_folder(folder: Path, dry_run: bool, as_json: bool) -> None:
    """Import a FOLDER of shop files: all rows or none."""
    from tqdm import tqdm

    from crib.acts.import_shop import import_shop

    with (
        the_store(create=True) as store,
        tqdm(unit="B", unit_scale=True, file=sys.stderr, disable=None) as bar,
    ):

        def progress(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        report = import_shop(store, folder, dry_run=dry_run, progress=progress)
    if as_json:
        print_json(
            {
                "accepted": report.accepted,
                "dry_run": report.dry_run,
                "files": [count._asdict() for count in report.files],
                "errors": [_error_row(error) for error in report.errors],
                "unlisted": report.unlisted,
                "notices": report.notices,
            }
        )
    for notice in report.notices:
        say(f"Note: {notice}")
    for error in report.errors:
        say(str(error))
    if report.unlisted:
        say(f"and {report.unlisted} more")
    if not report.accepted:
        say("Nothing was imported.")
        sys.exit(1)
    if not as_json:
        for count in report.files:
            click.echo(
                f"{count.file}: {count.inserted} new, {count.updated} changed, "
                f"{count.unchanged} unchanged, {count.removed} removed"
            )
    if dry_run:
        say("Dry run: nothing was written.")


def _error_row(error: Any) -> dict[str, Any]:
    return {name: getattr(error, name) for name in type(error).__slots__}


@click.command(name="export")
@click.argument("folder", type=a_folder)
@as_json_option
def export_folder(folder: Path, as_json: bool) -> None:
    """Write the shop files into FOLDER; an empty list gets its header row."""
    from crib.views.export_shop import export_shop, machines_with_password

    with the_store() as store, store.read() as tx:
        written = export_shop(tx, folder)
        secret = machines_with_password(tx)
    if secret:
        say(
            f"machines.csv holds the password of {secret} feed_url in full, so that importing "
            "it gives the same shop. Only you can read the file: keep it so."
        )
    if as_json:
        print_json([{"file": name, "rows": rows} for name, rows in written])
        return
    for name, rows in written:
        click.echo(f"{name}: {rows} rows")
