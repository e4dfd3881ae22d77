"""A scanned or typed text finds the one thing that it names, or is told why not."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from crib.codes import check_character, make_code
from crib.errors import BadCode, NotKnown
from crib.records.catalogue import GAUGES, HOLDERS, LOTS, MACHINES, STATIONS
from crib.store.records import get_record, insert_record, retire_record
from crib.store.resolve import (
    machine_id_by_name,
    resolve,
    resolve_gauge,
    resolve_holder,
    resolve_lot,
    resolve_person,
    resolve_station,
)

AT = datetime(2026, 2, 1, 12, tzinfo=UTC)

HELPERS = {
    "holders": (resolve_holder, "TH-1", "H"),
    "stations": (resolve_station, "M1/T01", "S"),
    "lots": (resolve_lot, "LOT-I1", "L"),
    "gauges": (resolve_gauge, "PG-1", "G"),
    "people": (resolve_person, "B1", "P"),
}


@pytest.mark.parametrize("name", HELPERS)
def test_code_address_and_mark_name_the_same_thing_in_any_case(store, shop, name):
    helper, mark, kind = HELPERS[name]
    code = shop.codes[name][mark]
    texts = (
        code,
        code.lower(),
        f"  {code}\n",
        f"HTTPS://CRIB.EXAMPLE/C/{code}",
        f"http://crib.example:8000/c/{code.lower()}",
        mark,
        mark.lower(),
        f" {mark} ",
    )
    with store.read() as tx:
        for text in texts:
            for found in (helper(tx, text), resolve(tx, text), resolve(tx, text, kind)):
                assert (found.kind, found.id) == (kind, shop.ids[name][mark])
                assert (found.code, found.mark) == (code, mark)


def test_a_wrong_check_character_is_mistyped_not_unknown(store, shop):
    code = shop.codes["holders"]["TH-1"]
    wrong = code[:-1] + ("0" if code[-1] != "0" else "1")

    with store.read() as tx, pytest.raises(BadCode, match="mistyped") as caught:
        resolve_holder(tx, wrong)

    assert caught.value.errors[0]["field"] == "holder"


def test_a_right_code_that_nothing_carries_is_unknown(store, shop):
    with store.read() as tx, pytest.raises(NotKnown, match="no holder here"):
        resolve_holder(tx, make_code("H", 999))
    with store.read() as tx, pytest.raises(NotKnown, match="nothing here"):
        resolve(tx, "whatever it is")
    with store.read() as tx, pytest.raises(NotKnown):
        resolve(tx, "")


def test_a_code_of_another_kind_is_told_as_what_it_is(store, shop):
    with store.read() as tx, pytest.raises(NotKnown, match="is a lot, not a holder") as caught:
        resolve_holder(tx, shop.codes["lots"]["LOT-I1"], field="tool_holder")

    assert caught.value.errors[0]["field"] == "tool_holder"


def test_a_mark_that_looks_like_a_mistyped_code_is_still_the_mark(store, shop):
    mark = "HOLDER12"
    assert check_character(mark[:-1]) != mark[-1]
    with store.write() as tx:
        number = insert_record(tx, HOLDERS, {"holder": mark, "holder_type": "SQ12-CN"})

        assert resolve_holder(tx, mark).id == number
        assert resolve_holder(tx, mark.lower()).id == number


def test_a_mark_that_is_anothers_right_code_gives_way_to_the_code(store, shop):
    code = shop.codes["holders"]["TH-1"]
    with store.write() as tx:
        lot = insert_record(tx, LOTS, {"lot": code, "cutting_item": "CNMG-408", "quantity": 1})

        assert resolve(tx, code).kind == "H"
        assert resolve_lot(tx, code).id == lot


def test_marks_that_differ_in_case_alone_are_told_apart(store, shop):
    with store.write() as tx:
        upper = insert_record(tx, GAUGES, {"gauge": "Dial"})
        lower = insert_record(tx, GAUGES, {"gauge": "dial"})

        assert resolve_gauge(tx, "Dial").id == upper
        assert resolve_gauge(tx, "dial").id == lower
        with pytest.raises(NotKnown):
            resolve_gauge(tx, "DIAL")


def test_names_with_slashes_are_found_as_machine_and_station(store, shop):
    with store.write() as tx:
        insert_record(tx, MACHINES, {"machine": "HALL/2"})
        number = insert_record(
            tx, STATIONS, {"machine": "HALL/2", "station": "A/1", "tool_number": 1}
        )

        assert resolve_station(tx, "HALL/2/A/1").id == number
        with pytest.raises(NotKnown):
            resolve_station(tx, "HALL/2")


def test_what_was_retired_resolves_but_takes_no_work(store, shop):
    number = shop.ids["holders"]["TH-3"]
    with store.write() as tx:
        retire_record(tx, HOLDERS, number, AT)

        assert resolve(tx, "TH-3").retired
        with pytest.raises(NotKnown, match="was retired"):
            resolve_holder(tx, "TH-3")


def test_an_earlier_label_of_an_assembly_is_told_as_superseded(store, shop):
    old, new = make_code("A", 1), make_code("A", 2)
    with store.write() as tx:
        tx.exec_driver_sql(
            "INSERT INTO facts (id, kind, at, recorded_at) VALUES (7, 'build', 0, 0)"
        )
        tx.exec_driver_sql("INSERT INTO assemblies VALUES (7, 1, 1, 1, 1, 0)")
        tx.exec_driver_sql("INSERT INTO label_codes VALUES (?, 7, NULL, 5)", (old,))
        tx.exec_driver_sql("INSERT INTO label_codes VALUES (?, 7, NULL, NULL)", (new,))

        by_old, by_new = resolve(tx, old.lower(), "A"), resolve(tx, new)

    assert (by_old.id, by_old.code, by_old.scanned, by_old.superseded) == (7, new, old, True)
    assert (by_new.id, by_new.code, by_new.scanned, by_new.superseded) == (7, new, new, False)


def test_a_machine_is_found_by_its_name(store, shop):
    with store.write() as tx:
        assert machine_id_by_name(tx, "M2") == shop.ids["machines"]["M2"]
        assert machine_id_by_name(tx, " m2 ") == shop.ids["machines"]["M2"]
        with pytest.raises(NotKnown, match="'M9' is not a machine here"):
            machine_id_by_name(tx, "M9")
        number = insert_record(tx, MACHINES, {"machine": "OLD"})
        retire_record(tx, MACHINES, number, AT)
        assert get_record(tx, MACHINES, number)["retired_at"] == AT
        with pytest.raises(NotKnown, match="'OLD' was retired"):
            machine_id_by_name(tx, "OLD")
