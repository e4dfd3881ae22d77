"""Records come out as they went in; what may not be is refused, and nothing is half done."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.codes import make_code, parse_code
from crib.errors import ChangedMeanwhile, Conflict, InUse, Invalid, NoneLeft, NotKnown
from crib.records.catalogue import (
    BY_NAME,
    CALENDAR_SPANS,
    CALENDARS,
    CATALOGUE,
    CUTTING_ITEMS,
    HOLDER_TYPES,
    HOLDERS,
    LOTS,
    MACHINES,
    OPERATIONS,
    PARTS,
    PEOPLE,
    RUNS,
    STATIONS,
    TOOL_LIFE,
    TOOL_SPECS,
)
from crib.records.columns import Column, Record
from crib.records.values import print_cell, read_cell
from crib.store.records import (
    count_records,
    get_record,
    insert_record,
    iterate_records,
    list_records,
    next_code,
    next_codes,
    replace_owned,
    retire_record,
    update_record,
)

AT = datetime(2026, 2, 1, 12, tzinfo=UTC)

TEXT = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Cf", "Zl", "Zp")), min_size=1
).filter(lambda text: text == text.strip())


def _bounded(column: Column) -> tuple[float, float]:
    low = column.minimum if column.minimum is not None else column.above
    return (-9e4 if low is None else low, 9e4 if column.maximum is None else column.maximum)


def values_of(column: Column, shop: SimpleNamespace) -> st.SearchStrategy[Any]:
    """Values that a column may hold."""
    if column.many:
        names = st.sampled_from(shop.names[column.reference])
        return st.lists(names, min_size=1, unique=True).map(tuple)
    if column.reference:
        return st.sampled_from(shop.names[column.reference])
    low, high = _bounded(column)
    scale = {"length": 10_000, "money": 100}.get(column.kind, 1)
    least = math.ceil(low * scale) + (column.above is not None)
    return {
        "text": TEXT,
        "lines": TEXT,
        "choice": st.sampled_from(column.choices or ("-",)),
        "number": st.floats(low, high, exclude_min=column.above is not None),
        "time": st.integers(0, 1440),
        "yes_no": st.booleans(),
        "instant": st.datetimes(datetime(1970, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
        "date": st.dates(),
        "local": st.dates(date(1970, 1, 1), date(2200, 12, 31)).map(str)
        | st.datetimes(datetime(1970, 1, 1), datetime(2200, 12, 31)).map(  # noqa: DTZ001
            lambda at: at.isoformat(timespec="minutes")
        ),
    }.get(column.kind, st.integers(least, int(high * scale)))


def rows_of(record: Record, shop: SimpleNamespace) -> st.SearchStrategy[dict[str, Any]]:
    """Whole rows of a record, optional values left empty now and then."""
    return st.fixed_dictionaries(
        {
            column.name: values_of(column, shop)
            if column.required
            else st.none() | values_of(column, shop)
            for column in record.columns
            if record is not CALENDAR_SPANS or column.name != "time_zone"
        }
    )


@pytest.mark.parametrize("record", [r for r in CATALOGUE if not r.owner], ids=lambda r: r.name)
@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_a_record_comes_out_as_it_went_in(store, shop, record, data):
    values = data.draw(rows_of(record, shop))
    if record is RUNS:  # one run at a time runs on a machine
        values["state"] = data.draw(st.sampled_from(("planned", "done")))
    expected = {
        column.name: column.default if values[column.name] is None else values[column.name]
        for column in record.columns
    }

    with store.write() as tx:
        tx.exec_driver_sql("SAVEPOINT one")
        try:
            number = insert_record(tx, record, values)
        except Conflict:  # the same key was drawn as the small shop has
            tx.exec_driver_sql("ROLLBACK TO one")
            return
        found = get_record(tx, record, number)
        found_by_key = get_record(tx, record, tuple(expected[name] for name in record.key))
        tx.exec_driver_sql("ROLLBACK TO one")

    assert {name: found[name] for name in expected} == expected
    assert found_by_key == found
    for column in record.columns:
        if found[column.name] is not None and not column.many:
            text = print_cell(column, found[column.name])
            assert print_cell(column, read_cell(column, text)) == text


def test_the_small_shop_is_listed_counted_and_iterated_alike(store, shop):
    with store.read() as tx:
        for record in CATALOGUE:
            listed = list_records(tx, record)
            assert len(listed) == count_records(tx, record) > 0
            iterated = list(iterate_records(tx, record))
            assert sorted(iterated, key=lambda row: row["id"]) == listed


def test_records_are_iterated_in_the_order_of_their_key(store, shop):
    with store.write() as tx:
        for name in ("ZZ", "AA", "MM"):
            insert_record(tx, HOLDERS, {"holder": name, "holder_type": "SQ12-CN"})
        holders = [row["holder"] for row in iterate_records(tx, HOLDERS)]
        spans = [(row["weekday"], row["start"]) for row in iterate_records(tx, CALENDAR_SPANS)]

    assert holders == sorted(holders)
    assert [day for day, _ in spans] == sorted(
        (day for day, _ in spans), key=("mon", "tue", "wed", "thu", "fri").index
    )
    assert spans[:2] == [("mon", 360), ("mon", 1320)]


def test_pages_follow_each_other_without_gap(store, shop):
    with store.read() as tx:
        whole = list_records(tx, HOLDERS)
        pages, after = [], 0
        while page := list_records(tx, HOLDERS, after_id=after, limit=2):
            pages.append(page)
            after = page[-1]["id"]

    assert [row for page in pages for row in page] == whole
    assert max(len(page) for page in pages) == 2


@pytest.mark.parametrize(
    ("record", "filters", "found"),
    [
        (STATIONS, {"machine": "M2"}, 2),
        (STATIONS, {"machine": "M2", "kind": "drilling"}, 1),
        (STATIONS, {"machine": ("M1", "M2"), "tool_number": [1, 2]}, 3),
        (HOLDERS, {"condition": None}, 4),
        (TOOL_SPECS, {"cutting_items": "DRILL-3"}, 1),
        (CUTTING_ITEMS, {"price": 950}, 1),
        (HOLDERS, {"holder_type": "nothing of that name"}, 0),
    ],
)
def test_filters_choose_by_value(store, shop, record, filters, found):
    with store.read() as tx:
        rows = list_records(tx, record, filters=filters)

        assert len(rows) == count_records(tx, record, filters=filters) == found


def test_a_record_is_found_by_id_by_name_and_by_key(store, shop):
    with store.read() as tx:
        by_key = get_record(tx, STATIONS, ("M1", "T11"))

        assert by_key == get_record(tx, STATIONS, shop.ids["stations"]["M1/T11"])
        assert get_record(tx, PARTS, "PIN-8") == get_record(tx, PARTS, ("PIN-8",))
        with pytest.raises(NotKnown, match="station 'M1/T99'"):
            get_record(tx, STATIONS, ("M1", "T99"))


def test_codes_are_given_once_and_in_order(store):
    with store.write() as tx:
        one = next_code(tx, "H")
        more = next_codes(tx, "H", 40)
        other = next_code(tx, "A")

    numbers = [one, *more]
    assert numbers[:2] == [make_code("H", 1), make_code("H", 2)]
    assert len(set(numbers)) == 41
    assert numbers == sorted(numbers)
    assert {parse_code(code).kind for code in numbers} == {"H"}
    assert parse_code(other).kind == "A"


def test_a_name_that_is_there_already_is_refused_in_words(tx, store):
    values = {"part": "P-1", "material": "C45", "material_group": "P", "cycle_s": 10.0}
    insert_record(tx, PARTS, values)

    with pytest.raises(Conflict, match="part 'P-1' already"):
        insert_record(tx, PARTS, values)


def test_two_rows_with_the_same_empty_key_part_are_one_too_many(store, shop):
    values = {
        "tool_material": "coated_carbide",
        "material_group": "M",
        "n": 0.2,
        "c_m_min": 99.0,
    }

    with store.write() as tx, pytest.raises(Conflict, match="coated_carbide/-/M"):
        insert_record(tx, TOOL_LIFE, values)


@pytest.mark.parametrize(
    ("record", "values", "field"),
    [
        (PEOPLE, {"badge": "B9", "role": "operator"}, "name"),
        (PEOPLE, {"badge": "B9", "name": "N", "role": "operator", "age": 3}, "age"),
        (HOLDERS, {"holder": "N-1", "holder_type": "none such"}, "holder_type"),
        (
            TOOL_SPECS,
            {"tool_spec": "S", "holder_type": "SQ12-CN", "cutting_items": ("none such",)},
            "cutting_items",
        ),
        (MACHINES, {"machine": "M9", "calendar": "none such"}, "calendar"),
    ],
)
def test_a_value_that_means_nothing_is_refused_by_its_field(store, shop, record, values, field):
    with store.write() as tx, pytest.raises(Invalid) as caught:
        insert_record(tx, record, values)

    assert [error["field"] for error in caught.value.errors] == [field]


def test_a_float_is_never_taken_for_an_exact_length(store, shop):
    with store.write() as tx, pytest.raises(TypeError, match="exact integer"):
        update_record(tx, TOOL_SPECS, 1, {"lf_nominal_mm": 80.0})


def test_a_change_counts_the_version_up_and_the_same_again_does_not(store, shop):
    number = shop.ids["machines"]["M1"]
    with store.write() as tx:
        assert update_record(tx, MACHINES, number, {"name": "left"}, 1) == 2
        assert update_record(tx, MACHINES, number, {"name": "left"}, 2) == 2
        assert update_record(tx, MACHINES, number, {"block_template": "G10 L2"}) == 3
        found = get_record(tx, MACHINES, number)

    assert (found["name"], found["block_template"]) == ("left", "G10 L2")
    assert found["calendar"] == "weekdays"


def test_a_change_of_an_older_version_is_refused(store, shop):
    number = shop.ids["machines"]["M1"]
    with store.write() as tx:
        update_record(tx, MACHINES, number, {"name": "left"})
        with pytest.raises(ChangedMeanwhile):
            update_record(tx, MACHINES, number, {"name": "right"}, expected_version=1)
        with pytest.raises(NotKnown):
            update_record(tx, MACHINES, 999, {"name": "right"})


def test_a_required_value_cannot_be_emptied_and_a_default_comes_back(store, shop):
    number = shop.ids["machines"]["M1"]
    with store.write() as tx:
        with pytest.raises(Invalid, match="machine is missing"):
            update_record(tx, MACHINES, number, {"machine": None})
        update_record(tx, MACHINES, number, {"x_on_diameter": False, "calendar": None})
        assert get_record(tx, MACHINES, number)["calendar"] is None
        update_record(tx, MACHINES, number, {"x_on_diameter": None})
        assert get_record(tx, MACHINES, number)["x_on_diameter"] is True


def test_a_renamed_record_keeps_what_refers_to_it(store, shop):
    with store.write() as tx:
        update_record(tx, MACHINES, shop.ids["machines"]["M1"], {"machine": "LATHE 1"})
        assert get_record(tx, STATIONS, ("LATHE 1", "T01"))["code"]
        with pytest.raises(Conflict, match="LATHE 1"):
            update_record(tx, MACHINES, shop.ids["machines"]["M2"], {"machine": "LATHE 1"})


def test_alternatives_keep_their_order(store, shop):
    number = shop.ids["tool_specs"]["TURN-OD"]
    with store.write() as tx:
        for place, wanted in enumerate((("DRILL-3", "CNMG-408"), ("CNMG-408", "DRILL-3"))):
            for _ in ("changed", "the same again"):
                version = update_record(tx, TOOL_SPECS, number, {"cutting_items": wanted})
                assert version == place + 2
                assert get_record(tx, TOOL_SPECS, number)["cutting_items"] == wanted


def test_the_quantity_of_a_lot_shifts_what_is_on_hand(store, shop):
    number = shop.ids["lots"]["LOT-I1"]
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE lots SET on_hand = 7 WHERE id = ?", (number,))
        update_record(tx, LOTS, number, {"quantity": 12})
        assert get_record(tx, LOTS, number)["on_hand"] == 9
        update_record(tx, LOTS, number, {"location": "drawer 3"})
        assert get_record(tx, LOTS, number)["on_hand"] == 9
        update_record(tx, LOTS, number, {"quantity": 3})
        assert get_record(tx, LOTS, number)["on_hand"] == 0
        with pytest.raises(NoneLeft, match="3 were taken from lot 'LOT-I1'"):
            update_record(tx, LOTS, number, {"quantity": 2})


def test_owned_rows_are_replaced_as_a_set(store, shop):
    number = shop.ids["parts"]["PIN-8"]
    with store.write() as tx:
        part = get_record(tx, PARTS, number)
        assert not replace_owned(tx, OPERATIONS, number, part["operations"])
        assert get_record(tx, PARTS, number)["version"] == 1

        fewer = [dict(part["operations"][1], length_mm=14.0)]
        assert replace_owned(tx, PARTS, number, fewer)
        after = get_record(tx, PARTS, number)

        assert after["operations"] == fewer
        assert after["version"] == 2
        assert update_record(tx, PARTS, number, {"operations": part["operations"]}) == 3
        assert get_record(tx, PARTS, number)["operations"] == part["operations"]
        with pytest.raises(Conflict, match="same path, sequence"):
            replace_owned(tx, OPERATIONS, number, [fewer[0], fewer[0]])


def test_a_calendar_gives_its_zone_to_its_spans(store, shop):
    with store.read() as tx:
        spans = list_records(tx, CALENDAR_SPANS)
        calendar = get_record(tx, CALENDARS, "weekdays")

    assert {row["time_zone"] for row in spans} == {calendar["time_zone"]}
    assert len(calendar["spans"]) == len(spans) == 10


def test_a_retired_record_is_kept_but_no_longer_listed(store, shop):
    number = shop.ids["holders"]["TH-3"]
    with store.write() as tx:
        retire_record(tx, HOLDERS, number, AT)
        retire_record(tx, HOLDERS, number, AT)
        found = get_record(tx, HOLDERS, number)

        assert (found["retired_at"], found["version"]) == (AT, 2)
        assert number not in {row["id"] for row in list_records(tx, HOLDERS)}
        assert number in {row["id"] for row in list_records(tx, HOLDERS, include_retired=True)}
        assert "TH-3" not in {row["holder"] for row in iterate_records(tx, HOLDERS)}
        with pytest.raises(ChangedMeanwhile):
            retire_record(tx, HOLDERS, number, AT, expected_version=1)
        with pytest.raises(NotKnown):
            retire_record(tx, HOLDERS, 999, AT)


def test_a_retired_record_is_referred_to_no_more(store, shop):
    with store.write() as tx:
        number = insert_record(tx, HOLDER_TYPES, {"holder_type": "OLD", "designation": "old"})
        retire_record(tx, HOLDER_TYPES, number, AT)
        with pytest.raises(Invalid, match="no holder type 'OLD'"):
            insert_record(tx, HOLDERS, {"holder": "N-1", "holder_type": "OLD"})


@pytest.mark.parametrize(
    ("name", "key", "used_by"),
    [
        ("holder_types", "SQ12-CN", "3 holders"),
        ("cutting_items", "CNMG-408", "1 tool specs"),
        ("tool_specs", "TURN-OD", "1 operations"),
        ("machines", "M1", "3 stations"),
        ("parts", "PIN-8", "1 runs"),
        ("calendars", "weekdays", "2 machines"),
        ("runs", "M1", "the machine"),
    ],
)
def test_what_is_still_used_is_not_retired(store, shop, name, key, used_by):
    with store.write() as tx, pytest.raises(InUse, match=used_by):
        retire_record(tx, BY_NAME[name], shop.ids[name][key], AT)


def test_done_runs_retire_with_their_part(store, shop):
    part, run = shop.ids["parts"]["PIN-8"], shop.ids["runs"]["M1"]
    with store.write() as tx:
        update_record(tx, RUNS, run, {"state": "done", "end_at": AT})
        retire_record(tx, PARTS, part, AT)

        assert get_record(tx, RUNS, run)["retired_at"] == AT
        assert list(iterate_records(tx, OPERATIONS)) == []


def test_dates_and_instants_keep_their_meaning(store, shop):
    with store.read() as tx:
        assert get_record(tx, LOTS, "LOT-I1")["received_on"] == date(2026, 1, 2)
        assert get_record(tx, RUNS, ("M1", "PIN-8", shop.start))["start_at"] == shop.start
