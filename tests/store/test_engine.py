"""One writer at a time, all or nothing, and refusals instead of errors of the database."""

from __future__ import annotations

import fcntl
import sqlite3
import threading
from collections import Counter
from contextlib import closing

import pytest
from sqlalchemy.exc import IntegrityError

from crib.errors import ChangedMeanwhile, Conflict, Refusal, StationOccupied, StoreFull
from crib.records.catalogue import HOLDERS, PARTS
from crib.store.checking import check
from crib.store.constraints import refusal_from
from crib.store.engine import Store
from crib.store.migrate import HEAD, open_store, schema_version
from crib.store.records import count_records, get_record, insert_record, update_record
from crib.store.revisions import revision

THREADS = 8


def race(act) -> Counter:
    """Run ``act(number)`` in threads that start together; what each returned or raised."""
    start = threading.Barrier(THREADS)
    results: list[object] = [None] * THREADS

    def run(number: int) -> None:
        start.wait()
        try:
            results[number] = act(number)
        except BaseException as problem:
            results[number] = type(problem)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return Counter(results)


def test_of_eight_threads_racing_for_one_station_one_wins(store, shop):
    station = shop.ids["stations"]["M1/T01"]
    with store.write() as tx:
        for number in range(1, 2 * THREADS + 1):
            kind = "build" if number <= THREADS else "mount"
            tx.exec_driver_sql(
                "INSERT INTO facts (id, kind, at, recorded_at) VALUES (?, ?, 0, 0)",
                (number, kind),
            )
        for number in range(1, THREADS + 1):
            tx.exec_driver_sql(
                "INSERT INTO assemblies (fact_id, tool_spec_id, holder_id, lot_id, edge)"
                " VALUES (?, 1, 1, 1, 1)",
                (number,),
            )
            tx.exec_driver_sql(
                "INSERT INTO presets (fact_id, assembly_id, accepted, why_not,"
                " standard_deviation_mm, expanded_uncertainty_mm, void_after)"
                " VALUES (?, ?, 1, '[]', '{}', '{}', 0)",
                (number, number),
            )
            tx.exec_driver_sql(
                "INSERT INTO mounts (fact_id, station_id, assembly_id, preset_id)"
                " VALUES (?, ?, ?, ?)",
                (number + THREADS, station, number, number),
            )

    def mount(number: int) -> str:
        with store.write() as tx:
            tx.exec_driver_sql(
                "INSERT INTO station_state VALUES (?, ?, ?)",
                (station, number + 1, number + 1 + THREADS),
            )
        return "mounted"

    assert race(mount) == {"mounted": 1, StationOccupied: THREADS - 1}
    with store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM station_state").scalar() == 1


def test_of_changes_by_eight_threads_none_is_lost(store, shop):
    part = shop.ids["parts"]["PIN-8"]

    def change(number: int) -> str:
        for _ in range(10):
            with store.write() as tx:
                present = get_record(tx, PARTS, part)
                values = {"cycle_s": present["cycle_s"] + 1.0}
                update_record(tx, PARTS, part, values, present["version"])
        return "done"

    assert race(change) == {"done": THREADS}
    with store.read() as tx:
        after = get_record(tx, PARTS, part)
    assert after["cycle_s"] == 45.0 + 10 * THREADS
    assert after["version"] == 1 + 10 * THREADS


def test_of_eight_threads_changing_the_version_that_they_read_one_wins(store, shop):
    part = shop.ids["parts"]["PIN-8"]

    def change(number: int) -> str:
        with store.write() as tx:
            update_record(tx, PARTS, part, {"cycle_s": 50.0 + number}, expected_version=1)
        return "changed"

    assert race(change) == {"changed": 1, ChangedMeanwhile: THREADS - 1}


def test_writers_of_two_stores_on_one_file_queue_too(store, shop):
    others = [Store(store.url) for _ in range(THREADS)]

    def insert(number: int) -> str:
        for place in range(10):
            with others[number].write() as tx:
                values = {"holder": f"N-{number}-{place}", "holder_type": "SQ12-CN"}
                insert_record(tx, HOLDERS, values)
        return "done"

    assert race(insert) == {"done": THREADS}
    with store.read() as tx:
        assert count_records(tx, HOLDERS) == len(shop.names["holders"]) + 10 * THREADS
    for other in others:
        other.close()


def test_an_exception_undoes_the_whole_write(store, shop):
    with store.read() as tx:
        before = revision(tx), count_records(tx, HOLDERS)

    def write_and_stop() -> None:
        with store.write() as tx:
            insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "SQ12-CN"})
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_and_stop()

    with store.read() as tx:
        assert (revision(tx), count_records(tx, HOLDERS)) == before


def test_every_write_counts_as_a_revision(store):
    with store.read() as tx:
        before = revision(tx)
    with store.write():
        pass
    with store.read() as tx:
        assert revision(tx) == before + 1


def test_a_reader_keeps_its_view_while_a_writer_commits(store, shop):
    with store.read() as reader:
        before = count_records(reader, HOLDERS)
        with store.write() as tx:
            insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "SQ12-CN"})
        assert count_records(reader, HOLDERS) == before
    with store.read() as reader:
        assert count_records(reader, HOLDERS) == before + 1


def test_a_full_disk_is_said_so_and_reading_goes_on(store, shop):
    with store.read() as tx:
        pages = tx.exec_driver_sql("PRAGMA page_count").scalar()
        before = count_records(tx, HOLDERS)

    def fill() -> None:
        with store.write() as tx:
            tx.exec_driver_sql(f"PRAGMA max_page_count={pages}")
            for number in range(2_000):
                values = {"holder": f"N-{number}" + "x" * 400, "holder_type": "SQ12-CN"}
                insert_record(tx, HOLDERS, values)

    with pytest.raises(StoreFull, match="nothing was recorded"):
        fill()

    with store.read() as tx:
        assert count_records(tx, HOLDERS) == before
    with store.write() as tx:
        tx.exec_driver_sql("PRAGMA max_page_count=1000000")
        insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "SQ12-CN"})


def test_a_broken_constraint_without_a_sentence_stays_an_error():
    problem = IntegrityError("INSERT", {}, Exception("DATATYPE mismatch"))

    with pytest.raises(IntegrityError):
        refusal_from(problem)


def test_another_kind_of_database_is_refused():
    with pytest.raises(Refusal, match="use sqlite"):
        Store("mysql://host/name")


def test_a_database_in_memory_works_from_many_threads():
    store = open_store("sqlite://")

    def insert(number: int) -> str:
        with store.write() as tx:
            insert_record(tx, PARTS, part_values(f"P-{number}"))
        with store.read() as tx:
            return get_record(tx, PARTS, f"P-{number}")["material_group"]

    assert race(insert) == {"P": THREADS}
    store.close()


def test_a_name_taken_meanwhile_is_a_conflict(store):
    def insert(_number: int) -> str:
        with store.write() as tx:
            insert_record(tx, PARTS, part_values("P-1"))
        return "made"

    assert race(insert) == {"made": 1, Conflict: THREADS - 1}


def part_values(name: str) -> dict[str, object]:
    return {"part": name, "material": "C45", "material_group": "P", "cycle_s": 10.0}


def test_writers_wait_for_the_lock_file_and_readers_do_not(store, shop, tmp_path):
    done = threading.Event()

    def write() -> None:
        with store.write() as tx:
            insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "SQ12-CN"})
        done.set()

    writer = threading.Thread(target=write)
    with (tmp_path / "crib.db-lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        writer.start()
        assert not done.wait(0.1)
        with store.read() as tx:
            assert count_records(tx, HOLDERS, filters={"holder": "N-1"}) == 0
    writer.join(10)

    assert done.is_set()


def test_a_write_holds_the_database_from_its_first_moment(store, tmp_path):
    with (
        store.write(),
        closing(sqlite3.connect(tmp_path / "crib.db", timeout=0)) as other,
        pytest.raises(sqlite3.OperationalError, match="locked"),
    ):
        other.execute("BEGIN IMMEDIATE")


def test_eight_that_start_at_once_on_no_file_make_one_database(tmp_path):
    url = f"sqlite:///{tmp_path}/new.db"

    def start(number: int) -> str | None:
        opened = open_store(url)
        with opened.write() as tx:
            insert_record(tx, PARTS, part_values(f"P-{number}"))
        version = schema_version(opened)
        opened.close()
        return version

    assert race(start) == {HEAD: THREADS}
    opened = open_store(url)
    assert check(opened) == []
    opened.close()
