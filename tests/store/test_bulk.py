"""Rows in bulk: new, changed or the same, in any order of the file, fast and in chunks."""

from __future__ import annotations

import tracemalloc
from datetime import UTC, datetime, timedelta
from itertools import islice

import pytest
from sqlalchemy import event

from crib.errors import Conflict, Invalid, NoneLeft
from crib.records.catalogue import (
    CALENDAR_SPANS,
    CALENDARS,
    CATALOGUE,
    HOLDER_TYPES,
    HOLDERS,
    LOTS,
    MACHINES,
    OPERATIONS,
    PARTS,
    RUNS,
    STATIONS,
    TOOL_SPECS,
)
from crib.records.columns import Record
from crib.store.bulk import CHUNK, bulk_upsert
from crib.store.migrate import open_store
from crib.store.records import (
    count_records,
    get_record,
    insert_record,
    iterate_records,
    list_records,
    retire_record,
    update_record,
)

AT = datetime(2026, 2, 1, 12, tzinfo=UTC)


def file_rows(tx, record: Record) -> list[dict[str, object]]:
    """Rows as a file has them: the catalogue's columns alone."""
    names = [column.name for column in record.columns]
    return [{name: row[name] for name in names} for row in iterate_records(tx, record)]


@pytest.mark.parametrize("record", CATALOGUE, ids=lambda record: record.name)
def test_the_same_rows_again_change_nothing(store, shop, record):
    with store.write() as tx:
        before = list_records(tx, record)
        rows = file_rows(tx, record)

        assert bulk_upsert(tx, record, rows) == (0, 0, len(rows))

        assert list_records(tx, record) == before


def test_rows_in_bulk_are_what_single_inserts_make(store, shop, tmp_path):
    other = open_store(f"sqlite:///{tmp_path}/other.db")
    with store.read() as source, other.write() as tx:
        for record in CATALOGUE:
            if record is not CALENDARS:  # made by their spans
                rows = file_rows(source, record)
                assert bulk_upsert(tx, record, rows) == (len(rows), 0, 0), record.name
        # numbers and codes follow the order of the key here, that of insertion there
        for record in CATALOGUE:
            assert file_rows(tx, record) == file_rows(source, record)
            codes = [row.get("code") for row in list_records(tx, record)]
            assert codes == [row.get("code") for row in list_records(source, record)]
    other.close()


def test_a_changed_row_counts_as_one_version(store, shop):
    with store.write() as tx:
        rows = file_rows(tx, STATIONS)
        rows[0]["datum_x_mm"] = -1
        rows.append({"machine": "M2", "station": "T99", "tool_number": 99})

        assert bulk_upsert(tx, STATIONS, rows) == (1, 1, len(rows) - 2)

        assert get_record(tx, STATIONS, ("M1", "T01"))["version"] == 2
        assert get_record(tx, STATIONS, ("M1", "T02"))["version"] == 1
        rows[0]["datum_x_mm"] = -2  # hash(-1) == hash(-2)
        assert bulk_upsert(tx, STATIONS, rows) == (0, 1, len(rows) - 1)


def test_a_value_left_out_stays_and_an_empty_one_empties(store, shop):
    with store.write() as tx:
        bulk_upsert(tx, HOLDERS, [{"holder": "TH-1", "holder_type": "SQ12-CN"}])
        assert get_record(tx, HOLDERS, "TH-1")["location"] == "shelf 1"

        row = {"holder": "TH-1", "holder_type": "SQ12-CN", "location": None}
        assert bulk_upsert(tx, HOLDERS, [row]) == (0, 1, 0)
        assert get_record(tx, HOLDERS, "TH-1")["location"] is None


def test_a_key_that_comes_twice_is_written_in_order(store, shop):
    rows = [
        {"holder": "N-1", "holder_type": "SQ12-CN", "location": place}
        for place in ("a", "b", "b", "a")
    ]
    with store.write() as tx:
        assert bulk_upsert(tx, HOLDERS, rows) == (1, 2, 1)
        assert get_record(tx, HOLDERS, "N-1")["location"] == "a"


def test_an_empty_key_part_is_found_again(store, shop):
    row = {"machine": "M2", "part": "PIN-8", "quantity": 10}
    with store.write() as tx:
        assert bulk_upsert(tx, RUNS, [row]) == (1, 0, 0)
        assert bulk_upsert(tx, RUNS, [row | {"start_at": None}]) == (0, 0, 1)
        assert bulk_upsert(tx, RUNS, [row | {"start_at": AT}]) == (1, 0, 0)
        # an empty path means the first one
        operations = [row | {"path": None} for row in file_rows(tx, OPERATIONS)]
        assert bulk_upsert(tx, OPERATIONS, operations) == (0, 0, len(operations))


def test_owned_rows_count_as_a_change_of_their_owner(store, shop):
    with store.write() as tx:
        rows = file_rows(tx, OPERATIONS)
        rows[0]["length_mm"] = 31.0

        assert bulk_upsert(tx, OPERATIONS, rows) == (0, 1, 1)

        part = get_record(tx, PARTS, "PIN-8")
        assert part["version"] == 2
        assert part["operations"][0]["length_mm"] == 31.0


def test_spans_make_their_calendar(store, shop):
    span = {
        "calendar": "weekend",
        "weekday": "sat",
        "start": 480,
        "end": 1440,
        "attended": True,
        "time_zone": "Europe/Oslo",
    }
    with store.write() as tx:
        assert bulk_upsert(tx, CALENDAR_SPANS, [span]) == (1, 0, 0)
        assert get_record(tx, CALENDARS, "weekend")["time_zone"] == "Europe/Oslo"
        bulk_upsert(tx, CALENDAR_SPANS, [span | {"time_zone": "Europe/Zurich"}])
        assert get_record(tx, CALENDARS, "weekend")["time_zone"] == "Europe/Zurich"
        assert get_record(tx, CALENDARS, "weekdays")["version"] == 1


def test_a_retired_record_that_comes_again_is_in_use_again(store, shop):
    with store.write() as tx:
        rows = file_rows(tx, HOLDERS)
        number = shop.ids["holders"]["TH-3"]
        retire_record(tx, HOLDERS, number, AT)

        assert bulk_upsert(tx, HOLDERS, rows) == (0, 1, len(rows) - 1)

        found = get_record(tx, HOLDERS, number)
        assert (found["retired_at"], found["version"]) == (None, 3)


def test_what_is_on_hand_shifts_with_the_quantity(store, shop):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE lots SET on_hand = on_hand - 2")
        rows = file_rows(tx, LOTS)
        assert bulk_upsert(tx, LOTS, rows) == (0, 0, 2)
        for row in rows:
            row["quantity"] += 5

        assert bulk_upsert(tx, LOTS, rows) == (0, 2, 0)

        for row in list_records(tx, LOTS):
            assert row["on_hand"] == row["quantity"] - 2
        with pytest.raises(NoneLeft, match="lot 'LOT-D1'"):
            bulk_upsert(tx, LOTS, [{"lot": "LOT-D1", "cutting_item": "DRILL-3", "quantity": 1}])


def test_alternatives_change_in_bulk(store, shop):
    with store.write() as tx:
        rows = file_rows(tx, TOOL_SPECS)
        rows[0]["cutting_items"] = ("CNMG-408", "DRILL-3")

        assert bulk_upsert(tx, TOOL_SPECS, rows) == (0, 1, 1)

        assert get_record(tx, TOOL_SPECS, rows[0]["tool_spec"])["cutting_items"] == (
            "CNMG-408",
            "DRILL-3",
        )
        assert bulk_upsert(tx, TOOL_SPECS, rows) == (0, 0, 2)
        del rows[0]["cutting_items"]
        assert bulk_upsert(tx, TOOL_SPECS, rows) == (0, 0, 2)


def test_the_template_of_a_machine_outlives_an_import(store, shop):
    with store.write() as tx:
        update_record(tx, MACHINES, shop.ids["machines"]["M1"], {"block_template": "G10"})
        rows = file_rows(tx, MACHINES)
        rows[0]["name"] = "left"

        assert bulk_upsert(tx, MACHINES, rows) == (0, 1, 1)

        assert get_record(tx, MACHINES, "M1")["block_template"] == "G10"


def test_an_unknown_reference_is_refused_by_its_field(store, shop):
    with store.write() as tx, pytest.raises(Invalid) as caught:
        bulk_upsert(tx, HOLDERS, [{"holder": "N-1", "holder_type": "none such"}])

    assert caught.value.errors[0]["field"] == "holder_type"


def test_two_running_runs_in_bulk_are_refused(store, shop):
    run = {"machine": "M2", "part": "PIN-8", "quantity": 5, "state": "running"}

    with store.write() as tx, pytest.raises(Conflict, match="end it first"):
        bulk_upsert(tx, RUNS, [run | {"start_at": AT + timedelta(days=day)} for day in (0, 1)])


def test_single_inserts_go_on_after_a_bulk(store, shop):
    rows = ({"holder": f"N-{n}", "holder_type": "SQ12-CN"} for n in range(3 * CHUNK + 1))
    with store.write() as tx:
        assert bulk_upsert(tx, HOLDERS, rows).inserted == 3 * CHUNK + 1
        number = insert_record(tx, HOLDERS, {"holder": "last", "holder_type": "SQ12-CN"})

        codes = [row["code"] for row in list_records(tx, HOLDERS)]
        assert len(set(codes)) == len(codes) == count_records(tx, HOLDERS)
        assert list_records(tx, HOLDERS)[-1]["id"] == number


def test_many_rows_take_few_statements_and_little_memory(store):
    size = 15 * CHUNK

    def rows():
        for number in range(size):
            yield {
                "holder": f"N-{number}",
                "holder_type": f"T-{number % 300}",
                "location": f"shelf {number % 40}",
            }

    with store.write() as tx:
        types = ({"holder_type": f"T-{n}", "designation": "D"} for n in range(300))
        bulk_upsert(tx, HOLDER_TYPES, types)
        statements = []
        event.listen(
            store.engine, "before_cursor_execute", lambda *told: statements.append(told[2])
        )
        assert bulk_upsert(tx, HOLDERS, rows()) == (size, 0, 0)
        assert len(statements) < size / 20
        tracemalloc.start()
        assert bulk_upsert(tx, HOLDERS, islice(rows(), 4 * CHUNK)) == (0, 0, 4 * CHUNK)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()

    assert peak < 1_000 * 4 * CHUNK
