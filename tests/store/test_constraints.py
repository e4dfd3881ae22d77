"""The database itself refuses what cannot be, whoever writes and by whatever statement."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from crib.errors import (
    AlreadyMounted,
    Conflict,
    EdgeUsed,
    HolderInUse,
    InUse,
    NoneLeft,
    Refusal,
    StationOccupied,
)
from crib.store.engine import Store, Tx

READING = (
    "INSERT INTO count_readings (machine_id, at, count, life, total, batch_id)"
    " VALUES (?, ?, ?, ?, ?, 1)"
)


def write(store: Store, *statements: str) -> None:
    with store.write() as tx:
        for statement in statements:
            tx.exec_driver_sql(statement)


def refused(store: Store, kind: type[Refusal], *statements: str) -> Refusal:
    with pytest.raises(kind) as caught:
        write(store, *statements)
    assert type(caught.value) is kind
    return caught.value


@pytest.fixture
def built(store: Store, shop: SimpleNamespace) -> SimpleNamespace:
    """Assemblies 1 (holder TH-1) and 2 (holder TH-2) with presets 3 and 4, mounts 5 and 6.

    Assembly 1 sits in station M1/T01; mount 6 is another's fact that sits nowhere.
    """
    ids = shop.ids
    spec, lot = ids["tool_specs"]["TURN-OD"], ids["lots"]["LOT-I1"]
    one, two = ids["holders"]["TH-1"], ids["holders"]["TH-2"]
    shop.t01, shop.t02 = ids["stations"]["M1/T01"], ids["stations"]["M1/T02"]
    shop.holder_one, shop.holder_two = one, two
    with store.write() as tx:
        for number, kind in enumerate(
            ("build", "build", "preset", "preset", "mount", "mount"), 1
        ):
            _fact(tx, number, kind)
        for number, holder in ((1, one), (2, two)):
            tx.exec_driver_sql(
                "INSERT INTO assemblies (fact_id, tool_spec_id, holder_id, lot_id, edge)"
                " VALUES (?, ?, ?, ?, 1)",
                (number, spec, holder, lot),
            )
            tx.exec_driver_sql(
                "INSERT INTO assembly_state (assembly_id, holder_id, cutter_status)"
                " VALUES (?, ?, 'NEW')",
                (number, holder),
            )
            tx.exec_driver_sql(
                "INSERT INTO presets (fact_id, assembly_id, accepted, why_not,"
                " standard_deviation_mm, expanded_uncertainty_mm, void_after)"
                " VALUES (?, ?, 1, '[]', '{}', '{}', 0)",
                (number + 2, number),
            )
            tx.exec_driver_sql(
                "INSERT INTO mounts (fact_id, station_id, assembly_id, preset_id)"
                " VALUES (?, ?, ?, ?)",
                (number + 4, shop.t01, number, number + 2),
            )
        tx.exec_driver_sql("INSERT INTO pieces (id, lot_id, number) VALUES (1, ?, 1)", (lot,))
        tx.exec_driver_sql("INSERT INTO edge_uses VALUES (1, 1, 0, 1)")
        tx.exec_driver_sql("INSERT INTO station_state VALUES (?, 1, 5)", (shop.t01,))
    return shop


def _fact(tx: Tx, number: int, kind: str) -> None:
    tx.exec_driver_sql(
        "INSERT INTO facts (id, kind, at, recorded_at) VALUES (?, ?, 0, 0)", (number, kind)
    )


def test_two_assemblies_in_one_station_are_refused(store, built):
    refused(store, StationOccupied, f"INSERT INTO station_state VALUES ({built.t01}, 2, 6)")


def test_one_assembly_in_two_stations_is_refused(store, built):
    refused(store, AlreadyMounted, f"INSERT INTO station_state VALUES ({built.t02}, 1, 6)")


def test_a_holder_is_built_once_until_it_is_free_again(store, built):
    again = (
        "INSERT INTO facts (id, kind, at, recorded_at) VALUES (7, 'build', 0, 0)",
        "INSERT INTO assemblies SELECT 7, tool_spec_id, holder_id, lot_id, 2, 0"
        " FROM assemblies WHERE fact_id = 2",
        "INSERT INTO assembly_state (assembly_id, holder_id, cutter_status)"
        f" VALUES (7, {built.holder_two}, 'NEW')",
    )

    refused(store, HolderInUse, *again)
    write(store, "UPDATE assembly_state SET ended_at = 1 WHERE assembly_id = 2", *again)


def test_an_edge_is_used_once_per_grind(store, built):
    refused(store, EdgeUsed, "INSERT INTO edge_uses VALUES (1, 1, 0, 2)")
    write(store, "INSERT INTO edge_uses VALUES (1, 2, 0, 2)")
    write(store, "INSERT INTO edge_uses VALUES (1, 1, 1, 2)")


def test_stock_never_falls_below_nothing(store, built):
    refused(store, NoneLeft, "UPDATE lots SET on_hand = on_hand - 11 WHERE lot = 'LOT-I1'")
    refused(
        store,
        NoneLeft,
        "INSERT INTO facts (id, kind, at, recorded_at) VALUES (7, 'stock_move', 0, 0)",
        "INSERT INTO stock_moves VALUES (7, 1, 'issue', -11, -1)",
    )


def test_a_second_running_run_on_a_machine_is_refused(store, shop):
    run = "INSERT INTO runs (machine_id, part_id, quantity, state) VALUES ({}, 1, 5, '{}')"
    m1, m2 = shop.ids["machines"]["M1"], shop.ids["machines"]["M2"]

    problem = refused(store, Conflict, run.format(m1, "running"))

    assert "end it first" in problem.sentence
    write(store, run.format(m1, "planned"), run.format(m2, "running"))
    refused(store, Conflict, "UPDATE runs SET state = 'running'")


@pytest.fixture
def counted(store: Store, shop: SimpleNamespace) -> int:
    """Machine M1 with counts 10, 20, then 5 and 9 in the next life of the counter."""
    machine = shop.ids["machines"]["M1"]
    with store.write() as tx:
        _fact(tx, 1, "count")
        for at, count, life, total in ((10, 10, 0, 10), (20, 20, 0, 20), (30, 5, 1, 25)):
            tx.exec_driver_sql(READING, (machine, at, count, life, total))
        tx.exec_driver_sql(READING, (machine, 40, 9, 1, 29))
    return machine


@pytest.mark.parametrize(
    ("at", "count", "life"),
    [
        pytest.param(50, 8, 1, id="below the last one"),
        pytest.param(15, 9, 0, id="late, below the one before"),
        pytest.param(15, 21, 0, id="late, above the one after"),
        pytest.param(35, 10, 1, id="late in the next life, above the one after"),
        pytest.param(5, 11, 0, id="before the first, above it"),
        pytest.param(50, 30, 0, id="in a life that is over"),
    ],
)
def test_a_count_that_goes_backwards_in_one_life_is_refused(store, counted, at, count, life):
    with pytest.raises(Conflict, match="backwards"), store.write() as tx:
        tx.exec_driver_sql(READING, (counted, at, count, life, 0))


@pytest.mark.parametrize(
    ("at", "count", "life"), [(15, 10, 0), (15, 20, 0), (25, 21, 0), (45, 0, 2)]
)
def test_a_count_between_its_neighbours_is_taken(store, counted, at, count, life):
    with store.write() as tx:
        tx.exec_driver_sql(READING, (counted, at, count, life, 0))
        assert tx.exec_driver_sql("SELECT count(*) FROM count_readings").scalar() == 5


def test_a_repeated_reading_is_ignored_by_on_conflict(store, counted):
    with store.write() as tx:
        tx.exec_driver_sql(READING + " ON CONFLICT DO NOTHING", (counted, 20, 3, 0, 3))
        assert tx.exec_driver_sql("SELECT count(*) FROM count_readings").scalar() == 4


def test_counts_of_machines_do_not_mix(store, shop, counted):
    with store.write() as tx:
        tx.exec_driver_sql(READING, (shop.ids["machines"]["M2"], 15, 1, 0, 1))


def test_readings_change_in_life_and_total_alone(store, counted):
    for column in ("count", "at", "machine_id", "run_id", "batch_id"):
        problem = refused(store, Conflict, f"UPDATE count_readings SET {column} = 1")
        assert "never changed" in problem.sentence
    refused(store, Conflict, "DELETE FROM count_readings")
    refused(store, Conflict, "UPDATE count_readings SET life = 0 WHERE at = 30")
    write(store, "UPDATE count_readings SET life = life + 1, total = total + 7 WHERE at > 15")


@pytest.mark.parametrize("table", ["facts", "assemblies", "presets", "mounts"])
def test_a_fact_is_never_changed_or_deleted(store, built, table):
    key = "id" if table == "facts" else "fact_id"

    for statement in (
        f"UPDATE {table} SET {key} = {key}",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ):
        problem = refused(store, Conflict, statement)
        assert "Take this one back" in problem.sentence


def test_what_a_fact_names_cannot_be_deleted(store, built):
    refused(store, InUse, f"DELETE FROM holders WHERE id = {built.holder_one}")


def test_a_fact_is_reversed_once(store, built):
    reversal = (
        "INSERT INTO facts (kind, at, recorded_at, reverses_id) VALUES ('reversal', 0, 0, 5)"
    )
    write(store, reversal)

    problem = refused(store, Conflict, reversal)

    assert "taken back already" in problem.sentence
