"""A backup is whole whatever happens; a restore takes a whole one or none."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from crib.errors import Conflict, Invalid, Refusal
from crib.records.catalogue import CATALOGUE, HOLDERS, PARTS
from crib.store.backup import backup, check, restore
from crib.store.engine import Store
from crib.store.migrate import open_store
from crib.store.records import count_records, insert_record, list_records, update_record
from crib.store.revisions import revision


def rows_of(url: str) -> dict[str, list]:
    opened = open_store(url)
    with opened.read() as tx:
        rows = {record.name: list_records(tx, record) for record in CATALOGUE}
    opened.close()
    return rows


def test_a_restored_backup_holds_every_row(store, shop, tmp_path):
    file, url = tmp_path / "copy.bak", f"sqlite:///{tmp_path}/other/crib.db"

    backup(store, file)
    kept = restore(url, file)

    assert kept is None
    assert rows_of(url) == rows_of(store.url)
    with closing(sqlite3.connect(file)) as copy:
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    left = {path.name for path in tmp_path.iterdir()} - {"other"}
    assert left <= {"copy.bak", "crib.db", "crib.db-wal", "crib.db-shm", "crib.db-lock"}


def test_a_backup_while_a_writer_works_is_one_moment_of_it(store, shop, tmp_path):
    stop = threading.Event()
    number = shop.ids["parts"]["PIN-8"]

    def work() -> None:
        done = 0
        while not stop.is_set():
            done += 1
            with store.write() as tx:  # two rows that must agree in every copy
                insert_record(tx, HOLDERS, {"holder": f"N-{done}", "holder_type": "SQ12-CN"})
                update_record(tx, PARTS, number, {"cycle_s": 100.0 + done})

    writer = threading.Thread(target=work)
    writer.start()
    files = [tmp_path / f"copy-{place}.bak" for place in range(5)]
    for file in files:
        backup(store, file)
    stop.set()
    writer.join()

    for file in files:
        copy = Store(f"sqlite:///{file}")
        assert check(copy) == []
        with copy.read() as tx:
            made = count_records(tx, HOLDERS) - len(shop.names["holders"])
            cycle_s = list_records(tx, PARTS)[0]["cycle_s"]
            assert made == (cycle_s - 100 if made else 0)
        copy.close()


def test_a_backup_replaces_the_one_before(store, shop, tmp_path):
    file = tmp_path / "copy.bak"
    backup(store, file)
    with store.write() as tx:
        insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "SQ12-CN"})

    backup(store, file)

    copy = Store(f"sqlite:///{file}")
    with copy.read() as mine, store.read() as theirs:
        assert revision(mine) == revision(theirs)
    copy.close()


def test_a_backup_into_no_folder_is_refused_in_words(store, tmp_path):
    with pytest.raises(Refusal, match="No backup was written"):
        backup(store, tmp_path / "no" / "such" / "copy.bak")


def test_the_database_of_before_is_kept_aside(store, shop, tmp_path):
    file = tmp_path / "copy.bak"
    backup(store, file)
    with store.write() as tx:
        insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "SQ12-CN"})
    before = rows_of(store.url)
    store.close()

    kept = restore(store.url, file)
    again = restore(store.url, file)

    assert kept == tmp_path / "crib.db.before-restore-1"
    assert again == tmp_path / "crib.db.before-restore-2"
    assert rows_of(f"sqlite:///{kept}") == before
    assert "N-1" not in {row["holder"] for row in rows_of(store.url)["holders"]}
    assert not (tmp_path / "crib.db-wal").exists()


def test_a_database_in_use_is_not_replaced(store, shop, tmp_path):
    file = tmp_path / "copy.bak"
    backup(store, file)
    before = rows_of(store.url)

    with store.read(), pytest.raises(Conflict, match="stop the service"):
        restore(store.url, file)

    assert rows_of(store.url) == before
    assert not list(tmp_path.glob("*before-restore*"))


def torn(file: Path) -> None:
    data = bytearray(file.read_bytes())
    data[8_192:80_000] = b"\xff" * (80_000 - 8_192)
    file.write_bytes(bytes(data))


def cut(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:50_000])


def no_database(file: Path) -> None:
    file.write_text("a letter, not a database " * 100)


def anothers(file: Path) -> None:
    file.unlink()
    with closing(sqlite3.connect(file)) as other:
        other.execute("CREATE TABLE songs (title TEXT)")


def contradicting(file: Path) -> None:
    with closing(sqlite3.connect(file)) as other, other:
        other.execute("UPDATE lots SET on_hand = on_hand + 1")


def newer(file: Path) -> None:
    with closing(sqlite3.connect(file)) as other, other:
        other.execute("UPDATE alembic_version SET version_num = '9999'")


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (torn, "damaged|no whole database"),
        (cut, "damaged|no whole database"),
        (no_database, "no whole database"),
        (anothers, "not one of this service"),
        (contradicting, "contradicts itself"),
        (newer, "9999"),
        (Path.unlink, "no file"),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_a_backup_that_is_not_whole_is_refused(store, shop, tmp_path, spoil, reason):
    file = tmp_path / "copy.bak"
    backup(store, file)
    before = rows_of(store.url)
    store.close()
    spoil(file)

    with pytest.raises(Refusal, match=reason):
        restore(store.url, file)

    assert rows_of(store.url) == before
    assert not list(tmp_path.glob("*.partial*"))
    assert not list(tmp_path.glob("*before-restore*"))


def test_the_database_is_no_backup_of_itself(store, tmp_path):
    with pytest.raises(Invalid, match="the database itself"):
        restore(store.url, tmp_path / "crib.db")


def test_a_damaged_database_gives_way_to_a_whole_backup(store, shop, tmp_path):
    file = tmp_path / "copy.bak"
    backup(store, file)
    before = rows_of(store.url)
    store.close()
    (tmp_path / "crib.db").write_bytes(b"\xff" * 20_000)

    kept = restore(store.url, file)

    assert kept is not None
    assert kept.read_bytes() == b"\xff" * 20_000
    assert rows_of(store.url) == before
