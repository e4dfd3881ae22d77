"""A plan of 40 machines after one more reading, with a year of readings behind it."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest

from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.floor.timeline import us_of
from crib.outlook.kept_output import KeptOutput
from crib.outlook.kept_shop import KeptShop
from crib.outlook.shop_now import read_shop
from crib.records.catalogue import CALENDARS, MACHINES, PARTS, RUNS
from crib.store.bulk import bulk_upsert
from crib.store.engine import Store, Tx
from crib.store.records import insert_record

MACHINE_COUNT, DAYS, EVERY_MIN = 40, 364, 20
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def _year(tx: Tx) -> None:
    spans = [
        {"weekday": day, "start": start, "end": end, "attended": attended}
        for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
        for start, end, attended in ((360, 1320, True), (1320, 360, False))
    ]
    insert_record(tx, CALENDARS, {"calendar": "week", "time_zone": "UTC", "spans": spans})
    names = [f"M{number}" for number in range(MACHINE_COUNT)]
    bulk_upsert(tx, MACHINES, [{"machine": name, "calendar": "week"} for name in names])
    part = {"part": "P", "material": "steel", "material_group": "P", "cycle_s": 40.0}
    insert_record(tx, PARTS, part)
    weeks = DAYS // 7
    bulk_upsert(
        tx,
        RUNS,
        [
            {
                "machine": name,
                "part": "P",
                "quantity": 15_000,
                "start_at": NOW - timedelta(weeks=weeks - week),
                "end_at": None
                if week == weeks - 1
                else NOW - timedelta(weeks=weeks - 1 - week),
                "state": "running" if week == weeks - 1 else "done",
            }
            for name in names
            for week in range(weeks)
        ],
    )
    begin, step = us_of(NOW - timedelta(days=DAYS)), EVERY_MIN * 60_000_000
    tx.exec_driver_sql(
        "INSERT INTO facts (id, kind, at, recorded_at) VALUES (1, 'count', ?, ?)",
        (begin, begin),
    )
    size, parts = DAYS * 1440 // EVERY_MIN, EVERY_MIN * 60 // 40
    for machine_id in range(1, MACHINE_COUNT + 1):
        tx.exec_driver_sql(
            "INSERT INTO count_readings (machine_id, at, count, life, total, batch_id)"
            " VALUES (?, ?, ?, 1, ?, 1)",
            [(machine_id, begin + n * step, n * parts, n * parts) for n in range(size)],
        )
    tx.exec_driver_sql("INSERT INTO count_batches VALUES (1, 1, 1, 0, 0, 0)")


@pytest.mark.bench
def test_a_plan_after_one_more_reading(
    store: Store, capsys: pytest.CaptureFixture[str]
) -> None:
    with store.write() as tx:
        _year(tx)
    readings, rows, now = KeptOutput(), KeptShop(timedelta(days=1)), NOW

    def look(kept: KeptOutput | None) -> float:
        began = time.perf_counter()
        with store.read() as tx:
            shop = read_shop(tx, now, kept)
        assert len(shop.machines) == MACHINE_COUNT
        return time.perf_counter() - began

    whole = min(look(None) for _ in range(2))
    look(readings)
    look(rows)
    after, after_rows = [], []
    for _ in range(10):
        now += timedelta(minutes=EVERY_MIN)
        with store.write() as tx:
            made = tx.exec_driver_sql(
                "SELECT max(count) FROM count_readings WHERE machine_id = 1"
            ).scalar_one()
            told = report_counts(tx, now, ReportCounts("M0", [CountReading(now, made + 30)]))
        assert told.accepted == 1
        after.append(look(readings))
        after_rows.append(look(rows))
    size = MACHINE_COUNT * DAYS * 1440 // EVERY_MIN
    one, two = (sorted(times)[len(times) // 2] for times in (after, after_rows))
    with capsys.disabled():
        print(f"\n40 machines, {size:,} readings: outputs, stays and plans anew: {whole:.2f} s")
        print(f"after one more, readings kept: {one * 1000:.0f} ms, {one / whole:.3f}")
        print(f"the same with the rows kept too: {two * 1000:.0f} ms, {two / whole:.3f}")
