"""A check finds every kind of planted damage and nothing in a whole database."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from crib.codes import make_code
from crib.store.bounds import BOUNDED
from crib.store.checking import check
from crib.store.code_numbers import next_codes
from crib.store.engine import Store
from crib.store.engines.sqlite.guards import statements
from crib.store.tables import APPEND_ONLY


@pytest.fixture
def busy(store: Store, shop: SimpleNamespace) -> Store:
    """The small shop with a mounted assembly, a removed one, stock moves and counts.

    Assembly 1 (preset 3, mount 5) sits in station 1; assembly 2 (preset 4) was mounted by 6,
    removed by 7, taken apart by 8; 9 is a stock move, 10 a batch of counts.
    """
    kinds = ("build", "build", "preset", "preset", "mount", "mount")
    kinds += ("removal", "teardown", "stock_move", "count")
    with store.write() as tx:
        run = tx.exec_driver_sql
        for number, kind in enumerate(kinds, 1):
            run(
                "INSERT INTO facts (id, kind, at, recorded_at) VALUES (?, ?, 0, 0)",
                (number, kind),
            )
        for number in (1, 2):
            run("INSERT INTO assemblies VALUES (?, 1, ?, 1, 1, 0)", (number, number))
            run(
                "INSERT INTO presets (fact_id, assembly_id, accepted, why_not,"
                " standard_deviation_mm, expanded_uncertainty_mm, void_after)"
                " VALUES (?, ?, 1, '[]', '{}', '{}', 0)",
                (number + 2, number),
            )
            run(
                "INSERT INTO mounts (fact_id, station_id, assembly_id, preset_id)"
                " VALUES (?, ?, ?, ?)",
                (number + 4, number, number, number + 2),
            )
            run("INSERT INTO pieces (id, lot_id, number) VALUES (?, 1, ?)", (number, number))
            run("INSERT INTO edge_uses VALUES (?, 1, 0, ?)", (number, number))
        run("INSERT INTO removals (fact_id, mount_id, reason) VALUES (7, 6, 'broken')")
        run("INSERT INTO teardowns VALUES (8, 2, NULL)")
        run("INSERT INTO assembly_state VALUES (1, 1, 'USED', 3, NULL)")
        run("INSERT INTO assembly_state VALUES (2, 2, 'BROKEN', 4, 9)")
        run("INSERT INTO station_state VALUES (1, 1, 5)")
        for number, code in enumerate(next_codes(tx, "A", 2), 1):
            run("INSERT INTO label_codes VALUES (?, ?, NULL, NULL)", (code, number))
        run("INSERT INTO stock_moves VALUES (9, 1, 'issue', -2, 8)")
        run("UPDATE lots SET on_hand = on_hand - 2 WHERE id = 1")
        readings = (
            (10, 9_990, 0, 9_990),
            (20, 9_998, 0, 9_998),
            (30, 4, 1, 10_004),  # over the end of a four-figure counter
            (40, 9, 1, 10_009),
            (50, 3, 2, 10_012),  # set to zero by hand
        )
        for at, count, life, total in readings:
            run(
                "INSERT INTO count_readings (machine_id, at, count, life, total, batch_id)"
                " VALUES (1, ?, ?, ?, ?, 10)",
                (at, count, life, total),
            )
    return store


TRIGGERS = statements(APPEND_ONLY, BOUNDED)


def damage(store: Store, *statements: str) -> list[str]:
    """Findings after statements that no trigger and no foreign key held up."""
    with store.reshape() as tx:
        for name in TRIGGERS:
            tx.exec_driver_sql(f"DROP TRIGGER {name}")
        for statement in statements:
            tx.exec_driver_sql(statement)
        for statement in TRIGGERS.values():
            tx.exec_driver_sql(statement)
    return check(store)


def test_a_whole_database_has_no_findings(busy):
    assert check(busy) == []


def test_an_empty_database_is_whole(store):
    assert check(store) == []


@pytest.mark.parametrize(
    ("statement", "finding"),
    [
        ("UPDATE lots SET on_hand = 9 WHERE id = 1", "Lot LOT-I1 has 9 on hand"),
        ("UPDATE stock_moves SET change = -3", "ledger give 7"),
        ("DELETE FROM stock_moves", "ledger give 10"),
        ("DELETE FROM station_state", "Mount 5 is open"),
        ("UPDATE station_state SET station_id = 2", "Station 2 shows assembly 1"),
        ("INSERT INTO station_state VALUES (2, 2, 6)", "mount 6, which is over"),
        ("DELETE FROM removals", "Mount 6 is open"),
        ("UPDATE assembly_state SET holder_id = 3 WHERE assembly_id = 1", "names holder 3"),
        ("DELETE FROM assembly_state WHERE assembly_id = 2", "Assembly 2 has no state"),
        ("UPDATE assembly_state SET ended_at = 1", "Assembly 1 is mounted although"),
        ("UPDATE assembly_state SET ended_at = NULL", "Assembly 2 was taken apart"),
        ("UPDATE assembly_state SET ended_at = 1", "Assembly 1 has ended, but no fact"),
        ("UPDATE assembly_state SET preset_id = 3", "Assembly 2 stands on preset 3"),
        ("UPDATE presets SET accepted = 0 WHERE fact_id = 3", "Assembly 1 stands on preset 3"),
        ("UPDATE label_codes SET superseded_at = 1", "Assembly 1 has no label code"),
        ("DELETE FROM edge_uses", "Assembly 1 stands, but no edge"),
        ("UPDATE count_readings SET total = total + 1 WHERE at = 20", "count 9998 at 20"),
        ("UPDATE count_readings SET count = 9997 WHERE at = 10", "count 9998 at 20"),
        ("UPDATE count_readings SET life = 5 WHERE at = 50", "count 3 at 50"),
        ("UPDATE count_readings SET total = total + 1 WHERE at >= 30", "count 4 at 30"),
        ("UPDATE people SET code = 'P00001R' WHERE id = 1", "'P00001R' in people"),
        ("UPDATE label_codes SET code = lower(code)", "in label_codes is no right code"),
        ("UPDATE code_counters SET next_number = 5 WHERE kind = 'H'", "counter of H codes"),
        ("DELETE FROM code_counters WHERE kind = 'S'", "counter of S codes"),
        ("UPDATE stations SET machine_id = 77 WHERE id = 5", "names a row of machines"),
        ("DELETE FROM facts WHERE id = 8", "of teardowns names a row of facts"),
    ],
)
def test_planted_damage_is_found(busy, statement, finding):
    findings = damage(busy, statement)

    assert any(finding in found for found in findings), findings


def test_a_removal_that_was_reversed_reopens_its_mount(busy):
    reversal = (
        "INSERT INTO facts (kind, at, recorded_at, reverses_id) VALUES ('reversal', 0, 0, 7)"
    )

    assert any("Mount 6 is open" in found for found in damage(busy, reversal))


def test_a_missing_trigger_is_found(busy):
    with busy.write() as tx:
        tx.exec_driver_sql("DROP TRIGGER mounts_no_update")

    assert check(busy) == [
        "The trigger mounts_no_update is missing or altered: restore a backup."
    ]


def test_much_damage_is_cut_short(busy):
    lots = [
        "INSERT INTO lots (code, lot, cutting_item_id, quantity, on_hand)"
        f" VALUES ('{make_code('L', number)}', 'N-{number}', 1, 5, 6)"
        for number in range(10, 17)
    ]

    findings = damage(busy, *lots, "UPDATE holders SET holder_type_id = 99 + id")

    assert len([found for found in findings if "on hand" in found]) == 5
    assert findings.count("… and more of the same.") == 1
    assert len([found for found in findings if "names a row of holder_types" in found]) == 5


def test_a_torn_file_is_found(busy, tmp_path):
    with busy.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    busy.close()
    path = tmp_path / "crib.db"
    data = bytearray(path.read_bytes())
    data[8_192:80_000] = b"\xff" * (80_000 - 8_192)
    path.write_bytes(bytes(data))

    assert any("damaged" in found for found in check(busy))


def test_a_file_that_is_no_database_is_found(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("no database at all, but long enough to be looked at " * 40)
    other = Store(f"sqlite:///{path}")

    assert any("no database of ours" in found for found in check(other))
    other.close()
