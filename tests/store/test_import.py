"""A folder goes into the database as a whole or not at all, and facts stay true."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from crib.acts.import_shop import ImportReport, import_shop
from crib.errors import Refusal
from crib.records.catalogue import (
    CALENDARS,
    CATALOGUE,
    HOLDERS,
    LOTS,
    MACHINES,
    PARTS,
    RUNS,
    SHOP_FILES,
)
from crib.store.engine import Store
from crib.store.migrate import open_store
from crib.store.records import count_records, get_record, list_records, retire_record
from crib.store.revisions import revision
from crib.views.export_shop import export_shop

Import = Callable[..., ImportReport]


@pytest.fixture
def import_files(store: Store, tmp_path: Path) -> Import:
    """Import a folder given as {file: text}."""

    def run(files: dict[str, str], *, dry_run: bool = False) -> ImportReport:
        folder = tmp_path / "folder"
        folder.mkdir(exist_ok=True)
        for old in folder.iterdir():
            old.unlink()
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        return import_shop(store, folder, dry_run=dry_run)

    return run


def rows_of(store: Store) -> dict[str, list[dict[str, object]]]:
    with store.read() as tx:
        return {
            record.name: list_records(tx, record, include_retired=True) for record in CATALOGUE
        }


def revision_of(store: Store) -> int:
    with store.read() as tx:
        return revision(tx)


def said(report: ImportReport) -> list[str]:
    return [str(error) for error in report.errors]


TYPES = "holder_type,designation\nT1,X\nT2,X\n"
HOLDERS_CSV = "holder,holder_type,location\nH1,T1,shelf\nH2,T1,\n"


def test_rows_come_in_with_codes_and_counts(store, import_files):
    report = import_files({"holder_types.csv": TYPES, "holders.csv": HOLDERS_CSV})

    assert report.accepted
    assert [tuple(file) for file in report.files] == [
        ("holder_types.csv", 2, 0, 0, 0), ("holders.csv", 2, 0, 0, 0),
    ]  # fmt: skip
    with store.read() as tx:
        holder = get_record(tx, HOLDERS, "H1")
    assert (holder["location"], holder["code"][0]) == ("shelf", "H")


def test_the_same_folder_again_changes_nothing(store, import_files):
    files = {"holder_types.csv": TYPES, "holders.csv": HOLDERS_CSV}
    import_files(files)
    before, counted = rows_of(store), revision_of(store)

    report = import_files(files)

    assert not report.changed
    assert [file.unchanged for file in report.files] == [2, 2]
    assert rows_of(store) == before
    assert revision_of(store) == counted


def test_a_changed_row_is_told_from_the_others(store, import_files):
    import_files({"holder_types.csv": TYPES, "holders.csv": HOLDERS_CSV})

    report = import_files({"holders.csv": HOLDERS_CSV.replace("H2,T1", "H2,T2") + "H3,T2,\n"})

    assert [tuple(file) for file in report.files] == [("holders.csv", 1, 1, 1, 0)]
    with store.read() as tx:
        assert get_record(tx, HOLDERS, "H2")["holder_type"] == "T2"


@pytest.mark.parametrize("bad", ["H3,T9,\n", "H1,T1,\n", "H3,,\n", "H3\n", 'H3,"T1\n'])
def test_one_bad_row_keeps_every_file_out(store, import_files, bad):
    before, counted = rows_of(store), revision_of(store)

    report = import_files({"holder_types.csv": TYPES, "holders.csv": HOLDERS_CSV + bad})

    assert [(error.file, error.line) for error in report.errors] == [("holders.csv", 4)]
    assert report.files == []
    assert rows_of(store) == before
    assert revision_of(store) == counted


def test_errors_of_all_files_come_in_their_order(import_files):
    report = import_files(
        {
            "holders.csv": "holder,holder_type\nH1,T9\nH2,\n",
            "holder_types.csv": "holder_type,designation,reach_mm\nT1,X,-1\n",
            "calendars.csv": "calendar,weekday,start,end,attended\n"
            "C,mon,06:00,12:00,yes\nC,mon,07:00,08:00,maybe\nC,mon,11:00,12:00,no\n",
            "holder.csv": "",
        }
    )

    assert [(error.file, error.line) for error in report.errors] == [
        ("holder.csv", None), ("calendars.csv", 3), ("calendars.csv", 4),
        ("holder_types.csv", 2), ("holders.csv", 2), ("holders.csv", 3),
    ]  # fmt: skip


def test_an_unknown_file_keeps_the_folder_out(store, import_files):
    report = import_files({"holder_types.csv": TYPES, "holder.csv": HOLDERS_CSV})

    assert said(report) == ["holder.csv: is no shop file; perhaps holders.csv is meant"]
    with store.read() as tx:
        assert count_records(tx, HOLDERS) == 0


def test_a_dry_run_checks_everything_and_writes_nothing(store, import_files):
    before, counted = rows_of(store), revision_of(store)
    files = {"holder_types.csv": TYPES, "holders.csv": HOLDERS_CSV}

    good = import_files(files, dry_run=True)
    bad = import_files({"holders.csv": HOLDERS_CSV}, dry_run=True)

    assert [tuple(file)[:2] for file in good.files] == [
        ("holder_types.csv", 2), ("holders.csv", 2),
    ]  # fmt: skip
    assert good.dry_run
    assert len(bad.errors) == 2
    assert rows_of(store) == before
    assert revision_of(store) == counted


def test_beyond_the_listed_errors_the_rest_is_counted(import_files):
    rows = "".join(f"H{n},T9\n" for n in range(300))

    report = import_files({"holders.csv": "holder,holder_type\n" + rows})

    assert (len(report.errors), report.unlisted) == (200, 100)


def test_progress_ends_with_every_byte(store, tmp_path):
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "holder_types.csv").write_text(TYPES)
    (folder / "holders.csv").write_text(
        "holder,holder_type\n" + "".join(f"H{n},T1\n" for n in range(5_000))
    )
    told: list[tuple[int, int]] = []

    import_shop(store, folder, progress=lambda done, total: told.append((done, total)))

    total = sum(path.stat().st_size for path in folder.iterdir())
    assert told == sorted(told)
    assert told[-1] == (total, total)
    assert len(told) >= 10


def test_an_absent_column_is_kept_and_an_empty_cell_empties(store, import_files):
    import_files({"holder_types.csv": TYPES, "holders.csv": HOLDERS_CSV})

    absent = import_files({"holders.csv": "holder,holder_type\nH1,T1\n"})
    with store.read() as tx:
        kept = get_record(tx, HOLDERS, "H1")["location"]
    import_files({"holders.csv": "holder,holder_type,location\nH1,T1,\n"})
    with store.read() as tx:
        emptied = get_record(tx, HOLDERS, "H1")["location"]

    assert not absent.changed
    assert (kept, emptied) == ("shelf", None)


def test_records_that_no_file_names_stay(store, shop, import_files):
    import_files({"holders.csv": "holder,holder_type\nTH-9,SQ12-CN\n"})

    with store.read() as tx:
        assert count_records(tx, HOLDERS) == len(shop.names["holders"]) + 1


def test_a_retired_record_that_comes_again_is_in_use_again(store, shop, import_files):
    with store.write() as tx:
        retire_record(
            tx, HOLDERS, shop.ids["holders"]["TH-2"], datetime(2026, 1, 6, tzinfo=UTC)
        )

    import_files({"holders.csv": "holder,holder_type\nTH-2,SQ12-CN\n"})

    with store.read() as tx:
        assert get_record(tx, HOLDERS, "TH-2")["retired_at"] is None


def test_a_reference_to_a_retired_record_is_refused(store, shop, import_files):
    with store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE holder_types SET retired_at = 1 WHERE holder_type = 'ER16-D'"
        )

    report = import_files({"holders.csv": "holder,holder_type\nX-1,ER16-D\n"})

    assert said(report)[0].startswith("holders.csv:2:holder_type: 'ER16-D' is no holder type")


def test_the_hours_of_a_calendar_are_replaced_as_a_set(store, shop, import_files):
    header = "calendar,weekday,start,end,attended,time_zone\n"
    import_files({"calendars.csv": header + "other,mon,06:00,14:00,yes,UTC\n"})

    report = import_files(
        {"calendars.csv": header + "weekdays,mon,07:00,15:00,yes,Europe/Zurich\n"}
    )

    assert [tuple(file) for file in report.files] == [("calendars.csv", 1, 0, 0, 10)]
    with store.read() as tx:
        changed = get_record(tx, CALENDARS, "weekdays")
        other = get_record(tx, CALENDARS, "other")
    assert [(span["weekday"], span["start"]) for span in changed["spans"]] == [("mon", 420)]
    assert changed["version"] > 1
    assert (len(other["spans"]), other["version"]) == (1, 2)


def test_the_operations_of_a_part_are_replaced_as_a_set(store, shop, import_files):
    header = "part,sequence,tool_number,tool_spec,kind\n"
    report = import_files({"operations.csv": header + "PIN-8,10,1,TURN-OD,turn\n"})

    assert (report.files[0].inserted, report.files[0].removed) == (0, 1)
    with store.read() as tx:
        part = get_record(tx, PARTS, "PIN-8")
    assert [operation["sequence"] for operation in part["operations"]] == [10]
    assert part["version"] == 2
    assert part["operations"][0]["cutting_speed_m_min"] == 120.0


def test_more_pieces_of_a_lot_come_on_top_of_what_is_left(store, shop, import_files):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE lots SET on_hand = 7 WHERE lot = 'LOT-I1'")

    import_files({"lots.csv": "lot,cutting_item,quantity\nLOT-I1,CNMG-408,20\n"})

    with store.read() as tx:
        assert get_record(tx, LOTS, "LOT-I1")["on_hand"] == 17


RUNS_HEADER = "machine,part,quantity,start_at,state,end_at\n"
OLD = "M1,PIN-8,5000,2026-01-05T06:00:00Z,{},\n"
NEW = "M1,PIN-8,300,2026-01-06T06:00:00Z,running,\n"


@pytest.mark.parametrize("order", [(NEW, OLD), (OLD, NEW)])
def test_one_run_ends_and_the_next_begins_in_one_file(store, shop, import_files, order):
    rows = "".join(order).format("done")

    report = import_files({"runs.csv": RUNS_HEADER + rows})

    assert said(report) == []
    assert tuple(report.files[0]) == ("runs.csv", 1, 1, 0, 0)
    with store.read() as tx:
        (running,) = list_records(tx, RUNS, filters={"state": "running"})
    assert running["quantity"] == 300


def test_a_second_running_run_is_refused_at_its_line(store, shop, import_files):
    report = import_files(
        {
            "runs.csv": RUNS_HEADER
            + NEW.replace("running", "planned").replace("06T", "07T")
            + NEW
        }
    )

    assert said(report) == [
        "runs.csv:3:state: 'running' cannot be: M1 runs PIN-8 since 2026-01-05T06:00:00Z in "
        "the database; call that run done, in a row of its own"
    ]
    with store.read() as tx:
        assert count_records(tx, RUNS) == 1


def test_the_run_that_runs_may_be_imported_again(shop, import_files):
    report = import_files({"runs.csv": RUNS_HEADER + OLD.format("running")})

    assert (report.accepted, report.changed) == (True, False)


@pytest.fixture
def built(store: Store, shop: SimpleNamespace) -> SimpleNamespace:
    """TH-1 built with edge 3 of a piece of LOT-I1; DH-1 with a drill that was ground again."""
    ids = shop.ids
    with store.write() as tx:
        for fact, (holder, lot, spec, edge, grind) in enumerate(
            (
                ("TH-1", "LOT-I1", "TURN-OD", 3, 0),
                ("DH-1", "LOT-D1", "CROSS-3", 1, 1),
            ),
            start=1,
        ):
            tx.exec_driver_sql(
                "INSERT INTO facts (id, kind, at, recorded_at) VALUES (?, 'build', 1, 1)",
                (fact,),
            )
            holder_id, lot_id = ids["holders"][holder], ids["lots"][lot]
            tx.exec_driver_sql(
                "INSERT INTO assemblies (fact_id, tool_spec_id, holder_id, lot_id, edge, grind)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (fact, ids["tool_specs"][spec], holder_id, lot_id, edge, grind),
            )
            tx.exec_driver_sql(
                "INSERT INTO assembly_state (assembly_id, holder_id, cutter_status)"
                " VALUES (?, ?, 'NEW')",
                (fact, holder_id),
            )
            tx.exec_driver_sql(
                "INSERT INTO pieces (id, lot_id, number, grinds) VALUES (?, ?, 1, ?)",
                (fact, lot_id, 2 * grind),
            )
            tx.exec_driver_sql(
                "INSERT INTO edge_uses (piece_id, edge, grind, assembly_id)"
                " VALUES (?, ?, ?, ?)",
                (fact, edge, grind, fact),
            )
            tx.exec_driver_sql("UPDATE lots SET on_hand = on_hand - 2 WHERE id = ?", (lot_id,))
    return shop


ITEMS = "cutting_item,kind,designation,edges,regrinds\n"
LOT = "lot,cutting_item,quantity\n"
GUARDED = [
    ("cutting_items.csv", ITEMS + "CNMG-408,insert,CNMG120408,2,0\n",
     "cutting_items.csv:2:edges: '2' is too few: edge 3 was used; write at least 3"),
    ("cutting_items.csv", ITEMS + "DRILL-3,round,DR3.0X20,1,1\n",
     "cutting_items.csv:2:regrinds: '1' is too few: a piece is at regrind 2; write at least 2"),
    ("cutting_items.csv", ITEMS + "DRILL-3,insert,DR3.0X20,1,2\n",
     "cutting_items.csv:2:kind: 'insert' is not round, as when its edges were used; give the "
     "new kind a name"),
    ("lots.csv", LOT + "LOT-I1,CNMG-408,1\n",
     "lots.csv:2:quantity: '1' is too few: 2 were taken from it; write at least 2"),
    ("lots.csv", LOT + "LOT-I1,DRILL-3,10\n",
     "lots.csv:2:cutting_item: 'DRILL-3' is not CNMG-408, which was built out of this lot; "
     "give the other item a lot of its own"),
    ("holders.csv", "holder,holder_type\nTH-1,ER16-D\n",
     "holders.csv:2:holder_type: 'ER16-D' is not SQ12-CN, and the holder is built; leave "
     "SQ12-CN, or take the tools apart first"),
    ("tool_specs.csv", "tool_spec,holder_type,cutting_items\nTURN-OD,ER16-D,CNMG-408\n",
     "tool_specs.csv:2:holder_type: 'ER16-D' is not SQ12-CN, and tools are built to it; leave "
     "SQ12-CN, or take the tools apart first"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "text", "error"), GUARDED)
def test_what_facts_rest_on_stays(store, built, import_files, file, text, error):
    before = rows_of(store)

    assert said(import_files({file: text})) == [error]
    assert rows_of(store) == before


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("cutting_items.csv", ITEMS + "CNMG-408,insert,CNMG120408,3,0\n"),
        ("cutting_items.csv", ITEMS + "DRILL-3,round,DR3.0X20,1,3\n"),
        ("lots.csv", LOT + "LOT-I1,CNMG-408,2\n"),
        ("holders.csv", "holder,holder_type,location\nTH-1,SQ12-CN,bench\n"),
        ("holders.csv", "holder,holder_type\nTH-2,ER16-D\n"),
    ],
)
def test_what_no_fact_rests_on_may_change(built, import_files, file, text):
    report = import_files({file: text})

    assert said(report) == []
    assert report.files[0].updated == 1


def test_an_exported_shop_comes_back_byte_by_byte(store, shop, tmp_path):
    first, second = tmp_path / "first", tmp_path / "second"
    with store.read() as tx:
        counts = export_shop(tx, first)
    other = open_store("sqlite://")

    report = import_shop(other, first)
    with other.read() as tx:
        again = export_shop(tx, second)
    other.close()

    assert said(report) == []
    assert again == counts
    assert [name for name, _ in counts] == [record.file for record in SHOP_FILES]
    assert all(count for _, count in counts)
    for record in SHOP_FILES:
        assert (first / record.file).read_bytes() == (second / record.file).read_bytes()


def test_an_export_imports_as_no_change(store, shop, tmp_path):
    with store.read() as tx:
        export_shop(tx, tmp_path / "out")

    report = import_shop(store, tmp_path / "out")

    assert (said(report), report.changed) == ([], False)


def test_an_export_leaves_other_files_alone_and_no_drafts(store, shop, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine")

    with store.read() as tx:
        export_shop(tx, tmp_path / "out")

    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"notes.txt", *(str(record.file) for record in SHOP_FILES)}


def test_an_export_that_fails_half_way_leaves_the_files_as_they_were(store, shop, tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "machines.csv").write_text("as it was")
    (folder / ".runs.csv.part").mkdir()

    with store.read() as tx, pytest.raises(Refusal, match="cannot be written"):
        export_shop(tx, folder)

    assert (folder / "machines.csv").read_text() == "as it was"
    assert {path.name for path in folder.iterdir()} == {"machines.csv", ".runs.csv.part"}


def test_an_export_to_a_file_is_refused(store, tmp_path):
    (tmp_path / "file").touch()

    with store.read() as tx, pytest.raises(Refusal, match="Name a folder"):
        export_shop(tx, tmp_path / "file")


def test_a_calendar_without_hours_that_a_machine_keeps_cannot_be_exported(
    store, shop, tmp_path
):
    with store.write() as tx:
        tx.exec_driver_sql("DELETE FROM calendar_spans")

    with store.read() as tx, pytest.raises(Refusal, match="which has no hours"):
        export_shop(tx, tmp_path / "out")

    assert not (tmp_path / "out").exists()
    with store.read() as tx:
        assert count_records(tx, MACHINES) == 2


def test_a_calendar_without_hours_that_has_a_closure_cannot_be_exported(store, shop, tmp_path):
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE machines SET calendar_id = NULL")
        tx.exec_driver_sql("DELETE FROM calendar_spans")

    with (
        store.read() as tx,
        pytest.raises(Refusal, match="has a closure from 2030-12-24T14:00"),
    ):
        export_shop(tx, tmp_path / "out")

    assert not (tmp_path / "out").exists()


def test_closures_come_in_out_and_in_again(store, shop, import_files, tmp_path):
    header = "calendar,start,end,kind,attended,reason\n"
    rows = (
        "weekdays,2026-12-24 14:00,2026-12-26,Closed,,midwinter\n"
        "weekdays,2026-12-27T06:00,2026-12-27T24:00,open,yes,\n"
    )

    first = import_files({"closures.csv": header + rows})
    again = import_files({"closures.csv": header + rows})
    with store.read() as tx:
        export_shop(tx, tmp_path / "out")

    assert [tuple(file) for file in first.files] == [("closures.csv", 2, 0, 0, 0)]
    assert not again.changed
    lines = (tmp_path / "out" / "closures.csv").read_text("utf-8").splitlines()
    assert lines[1:] == [
        "weekdays,2026-12-24T14:00,2026-12-26,closed,,midwinter",
        "weekdays,2026-12-27T06:00,2026-12-28T00:00,open,yes,",
        "weekdays,2030-12-24T14:00,2030-12-26,closed,,midwinter",
    ]


def test_a_closure_that_cannot_be_is_reported_by_its_cell(store, shop, import_files):
    report = import_files(
        {
            "closures.csv": "calendar,start,end,kind,attended\n"
            "weekdays,2026-12-24,2026-12-23,closed,\n"
            "weekdays,2026-12-24,2026-12-24,open,\n"
            "weekends,2026-12-25,2026-12-24T25:00,closed,\n"
        }
    )

    assert [(e.line, e.column) for e in report.errors] == [
        (2, "end"),
        (3, "attended"),
        (4, "end"),
        (4, "calendar"),
    ]


def test_cuts_that_contradict_themselves_are_refused_with_their_lines(
    store, shop, import_files
):
    header = "part,sequence,tool_number,tool_spec,kind,start_diameter_mm,end_diameter_mm"
    report = import_files(
        {
            "operations.csv": f"{header},depth_mm,passes\n"
            "PIN-8,10,1,TURN-OD,turn,12,9,0.5,1\n"
            "PIN-8,20,1,TURN-OD,turn,9,9.6,,\n"
        }
    )

    assert said(report) == [
        "operations.csv:2:passes: '1' at depth_mm 0.5 lead from 12 to 11, not to 9; write 3 "
        "passes, or depth_mm 1.5",
        "operations.csv:3:end_diameter_mm: '9.6' is larger than start_diameter_mm 9, but "
        "turning makes a diameter smaller; swap the two diameters, or write kind bore",
    ]


def test_a_file_without_a_column_is_held_against_what_is_stored_there(
    store, shop, import_files
):
    """The stored row goes from 10 to 8 in one pass; the file only changes its depth."""
    before = revision_of(store)
    header = "part,sequence,tool_number,tool_spec,kind,depth_mm\n"
    report = import_files({"operations.csv": header + "PIN-8,10,1,TURN-OD,turn,0.3\n"})

    assert said(report) == [
        "operations.csv:2:passes: '1' at depth_mm 0.3 lead from 10 to 9.4, not to 8; write 4 "
        "passes, or depth_mm 1"
    ]
    assert revision_of(store) == before


def test_tools_that_no_station_can_hold_are_named_and_so_are_files_not_read(
    store, shop, import_files, tmp_path
):
    """They are taken: the station may come later, with another folder."""
    folder = tmp_path / "folder"
    folder.mkdir()
    files = {
        "holder_types.csv": "holder_type,designation,interface,kind\nER99,X,ER 99,live\n",
        "tool_specs.csv": "tool_spec,holder_type,cutting_items\nODD,ER99,DRILL-3\n",
        "operations.csv": "part,sequence,tool_number,tool_spec,kind\n"
        "PIN-8,10,1,ODD,turn\nPIN-8,20,77,CROSS-3,drill\n",
        "stations.csv": "machine,station,tool_number,interface,kind\nM1,T01,1,12x12,turning\n",
    }
    for name, text in (files | {"holders.xlsx": "", "readme.txt": "", ".hidden": ""}).items():
        (folder / name).write_text(text, encoding="utf-8")

    report = import_shop(store, folder, dry_run=True)

    assert report.errors == []
    assert report.notices == [
        "holders.xlsx is not read: save it as holders.csv.",
        "readme.txt is not read: shop files end in .csv.",
        "operations.csv: machine M1 has no station with tool number 77 on path 1, which part "
        "PIN-8 needs. Add it to stations.csv, or correct the number.",
        "tool_specs.csv: ODD does not fit where PIN-8 uses it: station M1/T01 takes 12x12 "
        "turning, holder type ER99 is ER 99 live. Correct one of them.",
    ]


def test_a_condition_is_one_of_a_list_and_is_told_so(store, import_files):
    header = "holder,holder_type,condition\n"
    spelled = {"holder_types.csv": TYPES, "holders.csv": f"{header}H1,T1,In Reparatur\n"}
    assert import_files(spelled).accepted
    with store.read() as tx:
        assert get_record(tx, HOLDERS, "H1")["condition"] == "repair"

    report = import_files({"holders.csv": f"{header}H1,T1,wobbly\n"})

    assert said(report) == [
        "holders.csv:2:condition: 'wobbly' is not an allowed word; write new, good, worn, "
        "damaged, broken, repair, quarantine, lent, lost, scrapped or out_of_service"
    ]
