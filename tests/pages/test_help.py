"""The help pages: what an export writes and what the command line says, and nothing else."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner
from flask.testing import FlaskClient

from api.cli import main
from crib.store.engine import Store
from tests.pages.reading import read, words


def shown_columns(client: FlaskClient) -> dict[str, dict[str, Any]]:
    """File to column to its row, as the page lists them."""
    page = read(client, "/help/shop-files")
    return {
        str(table["data-file"]): {words(row.th): row for row in table.select("tbody tr")}
        for table in page.select("table[data-file]")
    }


def test_the_page_lists_the_columns_of_every_file_that_an_export_writes(
    client: FlaskClient, store: Store, tmp_path: Path
) -> None:
    environment = {"CRIB_DATABASE_URL": store.url}
    done = CliRunner().invoke(main, ["export", str(tmp_path / "out")], env=environment)
    assert done.exit_code == 0, done.output
    written = {
        path.name: next(csv.reader(path.read_text("utf-8").splitlines()))
        for path in (tmp_path / "out").iterdir()
    }

    listed = {name: list(rows) for name, rows in shown_columns(client).items()}

    assert len(written) > 10
    assert listed == written


def test_the_page_and_the_command_call_needed_what_an_import_misses(
    client: FlaskClient, store: Store, tmp_path: Path
) -> None:
    environment = {"CRIB_DATABASE_URL": store.url}
    told = CliRunner().invoke(main, ["import", "--help"]).stdout
    told = " ".join(told.split())
    folder = tmp_path / "in"
    folder.mkdir()
    for name, rows in shown_columns(client).items():
        needed = [column for column, row in rows.items() if "yes" in words(row.td)]
        assert needed == [column for column, row in rows.items() if row.th.strong]
        assert f" {name}: {', '.join(needed)} " in told
        spare = [column for column in rows if column not in needed]
        for given, missing in ((needed[:1], needed[1:]), (needed[1:], needed[:1])):
            (folder / name).write_text(",".join(spare + given) + "\n", "utf-8")
            done = CliRunner().invoke(
                main, ["import", str(folder), "--dry-run", "--json"], env=environment
            )
            errors = json.loads(done.stdout)["errors"]
            assert {error["column"] for error in errors} == set(missing), name
        (folder / name).unlink()


def test_every_setting_of_the_help_is_on_the_page(client: FlaskClient) -> None:
    page = read(client, "/help/settings")
    rows = {words(row.th): words(row.td) for row in page.select("tbody tr")}
    told = " ".join(CliRunner().invoke(main, ["--help"]).stdout.split())

    assert len(rows) > 10
    for name, takes in rows.items():
        assert f"{name}: {takes}" in told
    assert told.count(" CRIB_") >= len(rows)


def test_help_is_found_from_the_front_page_and_the_documentation(client: FlaskClient) -> None:
    for start in ("/", "/v1/docs"):
        assert read(client, start).select('main a[href="/help"]'), start
    links = [str(one["href"]) for one in read(client, "/help").select("main li a")]
    assert {"/help/shop-files", "/help/machine-feeds", "/help/settings"} <= set(links)
    for one in links:
        assert client.get(one).status_code == 200, one


def test_every_link_of_the_help_leads_somewhere(client: FlaskClient) -> None:
    for address in ("/help/shop-files", "/help/machine-feeds", "/help/settings"):
        page = read(client, address)
        for link in page.select("main a"):
            place, _, part = str(link["href"]).partition("#")
            there = read(client, place) if place else page
            assert not part or there.find(id=part), link


def test_a_german_reader_is_told_that_the_help_is_in_english(client: FlaskClient) -> None:
    for address in ("/help", "/help/shop-files", "/help/machine-feeds", "/help/settings"):
        answer = client.get(address, headers={"Accept-Language": "de"})
        assert "Die Hilfeseiten sind auf Englisch." in answer.get_data(as_text=True)
