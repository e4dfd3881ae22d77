"""Six weeks of the demo: exported, imported elsewhere and exported again, byte by byte."""

from __future__ import annotations

from datetime import UTC, datetime

from crib.demo.history import build
from crib.store.checking import check
from crib.store.migrate import open_store
from crib.usecases.export_shop import export_shop
from crib.usecases.forecast import forecast_shop
from crib.usecases.import_shop import import_shop
from crib.usecases.swap_list import make_swap_list

PRESENT = datetime(2026, 6, 17, 8, 40, tzinfo=UTC)


def export(store, folder):
    with store.read() as tx:
        export_shop(tx, folder)
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_six_weeks_of_the_demo_export_import_and_export_to_the_same_bytes(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'demo.db'}")
    build(store, present=PRESENT)
    first = export(store, tmp_path / "first")
    with store.read() as tx:
        swaps = make_swap_list(forecast_shop(tx, PRESENT), 24)
        removals = tx.exec_driver_sql("SELECT count(*) FROM removals").scalar_one()
    whole = check(store)
    again = import_shop(store, tmp_path / "first")
    store.close()

    other = open_store(f"sqlite:///{tmp_path / 'other.db'}")
    report = import_shop(other, tmp_path / "first")
    second = export(other, tmp_path / "second")
    other.close()

    assert whole == []
    assert removals > 500
    assert {row.sister.state for row in swaps.rows} == {"ready", "build", "measure", "blocked"}
    assert report.accepted
    assert first == second
    assert again.accepted
    assert not again.changed
    assert len(first) == 14
