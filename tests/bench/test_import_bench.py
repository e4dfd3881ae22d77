"""How fast a large folder is imported, beside the least that could be done with it.

The ceiling reads the same files with the csv module and sends the bare rows through one
``executemany`` per file: no types, no checks, no codes. Prints; asserts no time.
"""

from __future__ import annotations

import csv
import sqlite3
import time
import tracemalloc
from pathlib import Path

import pytest

from crib.acts.import_shop import import_shop
from crib.store.migrate import open_store

HOLDERS, LOTS, TYPES, ITEMS = 60_000, 40_000, 40, 500

pytestmark = pytest.mark.bench


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shop = tmp_path / "shop"
    shop.mkdir()

    def write(name: str, header: str, rows: list[str]) -> None:
        (shop / name).write_text("\n".join([header, *rows, ""]), encoding="utf-8")

    write(
        "holder_types.csv",
        "holder_type,designation,kind,reach_mm",
        [f"T{n},TYPE {n},turning,{n}.5" for n in range(TYPES)],
    )
    write(
        "cutting_items.csv",
        "cutting_item,kind,designation,edges,price",
        [f"I{n},insert,INSERT {n},2,{n}.25" for n in range(ITEMS)],
    )
    write(
        "holders.csv",
        "holder,holder_type,location,condition",
        [f"H{n:06d},T{n % TYPES},shelf {n % 300},good" for n in range(HOLDERS)],
    )
    write(
        "lots.csv",
        "lot,cutting_item,quantity,received_on,location",
        [
            f"L{n:06d},I{n % ITEMS},{10 + n % 90},2026-{1 + n % 12:02d}-{1 + n % 28:02d},drawer"
            for n in range(LOTS)
        ],
    )
    return shop


def bare_import(folder: Path, database: Path) -> float:
    began = time.perf_counter()
    connection = sqlite3.connect(database)
    connection.execute("PRAGMA journal_mode=WAL")
    for path in sorted(folder.iterdir()):
        with path.open(encoding="utf-8", newline="") as stream:
            reader = csv.reader(stream)
            header = next(reader)
            columns = f"{header[0]} UNIQUE, {', '.join(header[1:])}"
            connection.execute(f"CREATE TABLE {path.stem} ({columns})")
            marks = ", ".join("?" * len(header))
            connection.executemany(f"INSERT INTO {path.stem} VALUES ({marks})", reader)
    connection.commit()
    connection.close()
    return time.perf_counter() - began


def test_one_hundred_thousand_rows_are_imported(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ceiling_s = bare_import(folder, tmp_path / "bare.db")
    store = open_store(f"sqlite:///{tmp_path / 'crib.db'}")
    began = time.perf_counter()

    first = import_shop(store, folder)
    first_s = time.perf_counter() - began
    again = import_shop(store, folder)
    again_s = time.perf_counter() - began - first_s

    store.close()
    assert first.accepted
    assert sum(file.inserted for file in first.files) == HOLDERS + LOTS + TYPES + ITEMS
    assert not again.changed
    with capsys.disabled():
        print(
            f"\nimport of {HOLDERS + LOTS + TYPES + ITEMS} rows: {first_s:.2f} s, "
            f"{first_s / ceiling_s:.1f} x csv + executemany ({ceiling_s:.2f} s); "
            f"again, no change: {again_s:.2f} s"
        )


def test_the_memory_of_an_import_is_that_of_its_names(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = open_store(f"sqlite:///{tmp_path / 'crib.db'}")
    tracemalloc.start()

    import_shop(store, folder)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    store.close()
    size = sum(path.stat().st_size for path in folder.iterdir())
    with capsys.disabled():
        print(f"\nimport of {size / 1e6:.1f} MB of files: peak {peak / 1e6:.1f} MB of Python")
