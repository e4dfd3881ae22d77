"""The help pages: shop files, machine feeds, settings; tables come from what the code reads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flask import Blueprint, Response

from api.pages.render import page
from api.settings import VARIABLES
from crib.records.catalogue import BY_NAME, IN_SERVICE, OUT_OF_SERVICE, SHOP_FILES
from crib.records.columns import Column, Record
from crib.records.values import print_cell, right_for

blueprint = Blueprint("help", __name__)

_FILE_OF: Final = {
    # a calendar has no file of its own: its hours make it
    record.name: record.file or "calendars.csv"
    for record in BY_NAME.values()
}


@dataclass(frozen=True, slots=True)
class ColumnText:
    """One column as the page shows it."""

    name: str
    required: bool
    takes: str
    reference: str | None
    default: str
    explains: str


@dataclass(frozen=True, slots=True)
class FileText:
    """One shop file as the page shows it."""

    name: str
    columns: tuple[ColumnText, ...]


@blueprint.get("/help")
def index() -> Response:
    """Which help pages there are."""
    return page("help.html")


@blueprint.get("/help/shop-files")
def shop_files() -> Response:
    """Every shop file and column, as the import reads them."""
    return page(
        "help_files.html",
        files=tuple(_file(record) for record in SHOP_FILES),
        in_service=IN_SERVICE,
        out_of_service=OUT_OF_SERVICE,
    )


@blueprint.get("/help/machine-feeds")
def machine_feeds() -> Response:
    """How part counts come in: agents, a broker, files, scripts."""
    return page("help_feeds.html")


@blueprint.get("/help/settings")
def settings() -> Response:
    """Every setting, as ``crib --help`` prints it."""
    return page("help_settings.html", variables=VARIABLES)


def _file(record: Record) -> FileText:
    return FileText(str(record.file), tuple(_column(column) for column in record.columns))


def _column(column: Column) -> ColumnText:
    return ColumnText(
        name=column.name,
        required=column.required,
        takes=str(right_for(column)).removeprefix("write "),
        reference=_FILE_OF[column.reference] if column.reference else None,
        default="" if column.default is None else print_cell(column, column.default),
        explains=column.explains,
    )
