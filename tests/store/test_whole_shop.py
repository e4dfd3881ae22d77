"""A shop exported and imported elsewhere is the same shop, in every record and column."""

from __future__ import annotations

import random
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from crib.acts.import_shop import import_shop
from crib.records.catalogue import BY_NAME, CALENDARS, CATALOGUE, SHOP_FILES
from crib.records.columns import Column, Record
from crib.records.rules import problems_of
from crib.records.values import print_cell, read_cell
from crib.store.engine import Store
from crib.store.record_rows import OWNED
from crib.store.records import insert_record, list_records
from crib.store.tables import metadata
from crib.views.export_shop import export_shop

#: What a row carries that is not the shop's to say, or that follows from its facts.
DERIVED = {"id", "code", "version", "retired_at", "on_hand"}

#: Text with a grammar of its own; a new column of that kind is added here.
WITH_GRAMMAR: dict[str, tuple[str, ...]] = {
    "path_counters": ("1:main|2:sub*2", "1:a"),
    "line_pattern": ("LF {lf} WF {wf}", "{hf}"),
    "time_zone": ("Europe/Zurich", "America/New_York"),
    "start": ("2026-12-24", "2026-12-24T06:00"),
    "end": ("2026-12-27", "2026-12-31T14:30"),
    "block_template": (
        " G10 L1 P$register $x_word\n(MACHINE $machine)\r\n\n  ",
        "=(\\n is no line end)\n",
        "'A\\\\B $$ ",
    ),
}
#: Values that keep the rows of a record apart; a machine runs one part at a time.
KEPT_APART: dict[str, Any] = {
    "tool_life": lambda number: {"material_group": "PMK"[number]},
    "closures": lambda number: {"start": f"2026-12-{20 + number}"},
    "runs": lambda number: (
        {"start_at": datetime(2026, 3, 1 + number, tzinfo=UTC)}
        | {"state": "planned" if number else "done"}
    ),
}
ODD = ("=1+1", "'@x", "-5", "a, b; c", 'say "so"', "Bär Ø 12 µm", "\\n", "1e5", "|", "x  y")


def value_of(column: Column, draw: random.Random, names: dict[str, list[str]]) -> Any:
    """A value that the column may hold, as it is stored."""
    if column.many:
        return tuple(draw.sample(names[column.reference or ""], 2))
    if column.reference:
        return draw.choice(names[column.reference])
    if column.kind in ("text", "lines", "local"):
        choices = WITH_GRAMMAR.get(column.name) if column.kind != "text" else None
        choices = choices or WITH_GRAMMAR.get(column.name, ODD)
        return draw.choice(choices)
    if column.kind in ("number", "integer", "length", "money"):
        low, high = column.usual or (column.minimum or 0, column.maximum or 0)
        number = draw.uniform(low, min(high, low + 90)) if column.usual else low
        text = {"integer": f"{low + draw.randint(0, 1):.0f}", "money": f"{number:.2f}"}
        return read_cell(column, text.get(column.kind, f"{number:.4f}"))
    return {
        "choice": lambda: draw.choice(column.choices),
        "yes_no": lambda: draw.random() < 0.5,
        "instant": lambda: datetime(2026, 3, 1, tzinfo=UTC) + timedelta(hours=draw.random()),
        "date": lambda: date(2026, 2, draw.randint(1, 28)),
        "time": lambda: draw.randint(1, 1439),
    }[column.kind]()


def row_of(
    record: Record, draw: random.Random, names: dict[str, list[str]], number: int
) -> dict[str, Any]:
    """Values that hold together; the first row of a record has every column."""
    for _ in range(2_000):
        row = {
            column.name: value_of(column, draw, names)
            for column in record.columns
            if number == 0 or column.required or draw.random() < 0.5
        }
        for name in record.key:
            column = record.column(name)
            if column.kind == "text" and not column.reference:
                row[name] = f"{number}{draw.choice(ODD)}".replace("|", "/").strip()
            elif column.kind == "integer":
                row[name] = int(column.minimum or 0) + number
        row |= KEPT_APART.get(record.name, lambda _: {})(number)
        if not problems_of(record, row):
            return row
    raise AssertionError(f"no {record.noun} was found that holds together")


def fill(store: Store, draw: random.Random) -> None:
    names: dict[str, list[str]] = {}
    with store.write() as tx:
        for record in CATALOGUE:
            if record.owner:
                continue
            for number in range(3):
                row = row_of(record, draw, names, number)
                if record.name in OWNED:
                    name, owned = OWNED[record.name]
                    own = {record.key[0]: row[record.key[0]]}
                    made = [
                        row_of(owned, draw, names | {record.name: list(own.values())}, place)
                        for place in range(2 if owned.name == "operations" else 1)
                    ]
                    row[name] = [
                        {k: v for k, v in one.items() if k not in (*own, "time_zone")}
                        for one in made
                    ]
                insert_record(tx, record, row)
                names.setdefault(record.name, []).append(str(row.get(record.key[0])))


def plain(row: dict[str, Any]) -> dict[str, Any]:
    return {
        name: [plain(one) for one in value] if isinstance(value, list) else value
        for name, value in row.items()
        if name not in DERIVED
    }


def shop_in(store: Store) -> dict[str, list[dict[str, Any]]]:
    with store.read() as tx:
        return {
            record.name: sorted(map(plain, list_records(tx, record)), key=repr)
            for record in CATALOGUE
            if not record.owner
        }


@pytest.mark.parametrize("record", CATALOGUE, ids=lambda record: record.name)
def test_a_table_holds_no_column_that_the_catalogue_does_not_describe(record):
    described = {column.stored for column in record.columns if not column.many}

    assert set(metadata.tables[record.name].c.keys()) - DERIVED <= described
    assert record.file or record is CALENDARS  # whose zone and name its hours tell


@settings(
    max_examples=3,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.integers(0, 2**32))
def test_a_shop_that_went_through_its_files_is_the_same_shop(request, tmp_path_factory, seed):
    folder: Path = tmp_path_factory.mktemp("shop")
    stores = []
    for name in ("here", "there"):
        shutil.copy(request.getfixturevalue("_template"), folder / f"{name}.db")
        stores.append(Store(f"sqlite:///{folder / name}.db"))
    here, there = stores
    fill(here, random.Random(seed))  # noqa: S311 - no secret
    with here.read() as tx:
        export_shop(tx, folder / "files")

    report = import_shop(there, folder / "files")

    assert [str(error) for error in report.errors] == []
    shop = shop_in(here)
    assert shop_in(there) == shop
    for record in SHOP_FILES:
        rows, elsewhere = shop.get(record.name, []), ()
        if record.owner:
            name = OWNED[record.owner][0]
            rows = [row for owner in shop[record.owner] for row in owner[name]]
            elsewhere = (*BY_NAME[record.owner].key, "time_zone")
        for column in record.columns:
            held = any(row.get(column.name) is not None for row in rows)
            assert held or column.name in elsewhere, f"no {record.noun} has {column.name}"
    for store in stores:
        store.close()
    shutil.rmtree(folder)


@pytest.mark.parametrize("text", WITH_GRAMMAR["block_template"])
def test_lines_come_back_from_one_line_of_a_file(text):
    column = BY_NAME["machines"].column("block_template")
    cell = print_cell(column, text)

    assert "\n" not in cell
    assert cell == cell.strip()
    assert read_cell(column, cell) == text
