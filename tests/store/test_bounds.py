"""The database keeps the bounds of every number; what lies outside from before is named."""

from __future__ import annotations

import pytest

from crib.errors import Invalid
from crib.records.catalogue import TOOL_SPECS
from crib.store.bounds import BOUNDED
from crib.store.checking import check
from crib.store.engines.sqlite.guards import statements
from crib.store.records import get_record, update_record


def test_no_table_takes_a_number_outside_its_bounds(store, shop):
    refused = 0
    for table, columns in BOUNDED.items():
        with store.read() as tx:
            first = tx.exec_driver_sql(f"SELECT min(rowid) FROM {table}").scalar()
        for column in columns if first else ():
            for value in (5e-324, 1e308, "a lot", column.maximum * column.scale + 1):
                change = f"UPDATE {table} SET {column.stored} = ? WHERE rowid = ?"
                with pytest.raises(Invalid, match="outside its bounds"), store.write() as tx:
                    tx.exec_driver_sql(change, (value, first))
                refused += 1
    assert refused > 150


def test_a_number_from_before_its_bounds_bars_no_other_edit_and_is_named(store, shop):
    spec = shop.ids["tool_specs"]["TURN-OD"]
    with store.write() as tx:
        tx.exec_driver_sql("DROP TRIGGER tool_specs_bounds_update")
        tx.exec_driver_sql("UPDATE tool_specs SET clearance_deg = 5e-324 WHERE id = ?", (spec,))
        tx.exec_driver_sql(statements((), BOUNDED)["tool_specs_bounds_update"])
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE tool_specs SET description = 'x' WHERE id = ?", (spec,))
        assert get_record(tx, TOOL_SPECS, spec)["description"] == "x"
    assert check(store) == [
        "Tool spec TURN-OD: clearance_deg is 5e-324, which is not plausible; write a number "
        "like 12.5, 0 or at least 0.5, at most 60."
    ]

    with store.write() as tx:
        update_record(tx, TOOL_SPECS, spec, {"clearance_deg": 7.0})
    assert check(store) == []
