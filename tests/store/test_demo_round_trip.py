"""The demo's history: exported, imported elsewhere and exported again, byte by byte."""

from __future__ import annotations

import os

from crib.acts.import_shop import import_shop
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.store.checking import check
from crib.store.migrate import open_store
from crib.views.export_shop import export_shop
from tests.demos import DAYS, PRESENT

#: Length of the history [d]; CI takes the six weeks of the demo itself.
LENGTH = int(os.environ.get("CRIB_TEST_DEMO_DAYS", str(DAYS)))


def export(store, folder):
    with store.read() as tx:
        export_shop(tx, folder)
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_the_demo_exports_imports_and_exports_to_the_same_bytes(demos, tmp_path):
    store = demos.copy(tmp_path, days=LENGTH).store
    first = export(store, tmp_path / "first")
    with store.read() as tx:
        swaps = make_swap_list(plan_shop(tx, PRESENT), 24)
        removals = tx.exec_driver_sql("SELECT count(*) FROM removals").scalar_one()
    whole = check(store)
    again = import_shop(store, tmp_path / "first")
    store.close()

    other = open_store(f"sqlite:///{tmp_path / 'other.db'}")
    report = import_shop(other, tmp_path / "first")
    second = export(other, tmp_path / "second")
    other.close()

    assert whole == []
    assert removals > 10 * LENGTH
    assert {row.sister.state for row in swaps.rows} == {"ready", "build", "measure", "blocked"}
    assert report.accepted
    assert first == second
    assert again.accepted
    assert not again.changed
    assert len(first) == 15
