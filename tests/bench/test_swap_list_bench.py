"""A swap list over 40,000 mounted edges against merely reading their rows."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from crib.floor.timeline import us_of
from crib.outlook.plan_cache import PlanCache
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import (
    CALENDARS,
    CUTTING_ITEMS,
    HOLDER_TYPES,
    HOLDERS,
    LOTS,
    MACHINES,
    PARTS,
    RUNS,
    STATIONS,
    TOOL_SPECS,
)
from crib.store.bulk import bulk_upsert
from crib.store.engine import Store, Tx
from crib.store.records import insert_record

SIZE = (1_600, 25)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_READ = (
    "SELECT s.*, a.*, m.* FROM station_state x JOIN stations s ON s.id = x.station_id"
    " JOIN assemblies a ON a.fact_id = x.assembly_id JOIN mounts m ON m.fact_id = x.mount_id"
)


def build_floor(store: Store, machines: int, stations: int) -> None:
    """Fill a database with machines that all run, each station with a tool in it."""
    with store.write() as tx:
        _records(tx, machines, stations)
    with store.write() as tx:
        _facts(tx, machines, stations)


def _records(tx: Tx, machines: int, stations: int) -> None:
    spans = [
        {"weekday": day, "start": start, "end": end, "attended": attended}
        for day in ("mon", "tue", "wed", "thu", "fri")
        for start, end, attended in ((360, 1320, True), (1320, 360, False))
    ]
    insert_record(tx, CALENDARS, {"calendar": "week", "time_zone": "UTC", "spans": spans})
    bulk_upsert(tx, MACHINES, [{"machine": f"M{m}", "calendar": "week"}
                               for m in range(machines)])  # fmt: skip
    bulk_upsert(tx, STATIONS, [{"machine": f"M{m}", "station": f"T{t}", "tool_number": t}
                               for m in range(machines)
                               for t in range(stations)])  # fmt: skip
    item = {"cutting_item": "I", "kind": "insert", "designation": "CCMT060204", "edges": 2,
            "tool_material": "carbide"}  # fmt: skip
    insert_record(tx, CUTTING_ITEMS, item)
    insert_record(tx, HOLDER_TYPES, {"holder_type": "H", "designation": "SCLCR1212F06"})
    holders = machines * stations
    bulk_upsert(tx, HOLDERS, [{"holder": f"H{h}", "holder_type": "H"} for h in range(holders)])
    insert_record(tx, LOTS, {"lot": "L", "cutting_item": "I", "quantity": 50_000})
    for spec in range(stations):
        values = {"tool_spec": f"S{spec}", "holder_type": "H", "cutting_items": ("I",),
                  "life_parts": 300.0 + 100 * spec}  # fmt: skip
        insert_record(tx, TOOL_SPECS, values)
    operations = [
        {"sequence": t, "tool_number": t, "tool_spec": f"S{t}", "kind": "turn"}
        for t in range(stations)
    ]
    insert_record(tx, PARTS, {"part": "P", "material": "steel", "material_group": "P",
                              "cycle_s": 40.0, "operations": operations})  # fmt: skip
    bulk_upsert(tx, RUNS, [{"machine": f"M{m}", "part": "P", "quantity": 1_000_000,
                            "start_at": NOW - timedelta(days=3), "state": "running"}
                           for m in range(machines)])  # fmt: skip


def _facts(tx: Tx, machines: int, stations_each: int) -> None:
    begin, step = us_of(NOW - timedelta(hours=8)), 3_600_000_000
    stations = [row[0] for row in tx.exec_driver_sql("SELECT id FROM stations ORDER BY id")]
    count = len(stations)
    many = tx.exec_driver_sql
    fact = "INSERT INTO facts (id, kind, at, recorded_at) VALUES (?, ?, ?, ?)"
    many(fact, [(i + 1, "build", begin - step, begin) for i in range(count)])
    many(fact, [(count + i + 1, "preset", begin - step, begin) for i in range(count)])
    many(fact, [(2 * count + i + 1, "mount", begin, begin) for i in range(count)])
    many(fact, [(3 * count + 1, "count", begin, begin)])
    many(
        "INSERT INTO assemblies (fact_id, tool_spec_id, holder_id, lot_id, edge, grind)"
        " VALUES (?, ?, ?, 1, 1, 0)",
        [(i + 1, i % stations_each + 1, i + 1) for i in range(count)],
    )
    many(
        "INSERT INTO label_codes (code, assembly_id) VALUES (?, ?)",
        [(f"A{i:06d}X", i + 1) for i in range(count)],
    )
    many(
        "INSERT INTO presets (fact_id, assembly_id, accepted, why_not, standard_deviation_mm,"
        " expanded_uncertainty_mm, void_after) VALUES (?, ?, 1, '[]', '{}', '{}', ?)",
        [(count + i + 1, i + 1, begin + 90 * 24 * step) for i in range(count)],
    )
    many(
        "INSERT INTO mounts (fact_id, station_id, assembly_id, preset_id) VALUES (?, ?, ?, ?)",
        [(2 * count + i + 1, stations[i], i + 1, count + i + 1) for i in range(count)],
    )
    many(
        "INSERT INTO station_state (station_id, assembly_id, mount_id) VALUES (?, ?, ?)",
        [(stations[i], i + 1, 2 * count + i + 1) for i in range(count)],
    )
    many(
        "INSERT INTO assembly_state (assembly_id, holder_id, cutter_status)"
        " VALUES (?, ?, 'ALLOCATED')",
        [(i + 1, i + 1) for i in range(count)],
    )
    many(
        "INSERT INTO count_readings (machine_id, at, count, life, total, batch_id)"
        " VALUES (?, ?, ?, 1, ?, ?)",
        [
            (m + 1, begin + hour * step, hour * 85, hour * 85, 3 * count + 1)
            for m in range(machines)
            for hour in range(9)
        ],
    )


def _best(work: Callable[[], object], times: int = 3) -> float:
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


@pytest.mark.bench
def test_the_200_most_urgent_of_40000(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    build_floor(store, *SIZE)

    def read() -> int:
        with store.read() as tx:
            return len(tx.exec_driver_sql(_READ).fetchall())

    def rebuild() -> int:
        with store.read() as tx:
            return len(make_swap_list(plan_shop(tx, NOW), 24).rows)

    cache = PlanCache(store, stale_after=timedelta(hours=1))
    make_swap_list(cache.plan(NOW), 24)

    def page() -> list[str]:
        rows = make_swap_list(cache.plan(NOW), 24).rows[:200]
        return [f"{row.forecast.machine} {row.swap_by} {row.sister.state}" for row in rows]

    ceiling = _best(read)
    assert read() == SIZE[0] * SIZE[1]
    assert len(page()) == 200
    rows = {"page of 200": _best(page), "full rebuild": _best(rebuild, 2)}
    with capsys.disabled():
        print(f"\nreading 40,000 rows: {ceiling * 1000:.0f} ms")
        for name, seconds in rows.items():
            print(f"{name}: {seconds * 1000:.1f} ms, {seconds / ceiling:.3f} of reading")
