"""Migrations and tables say the same; a database comes up, goes down and keeps its rows."""

from __future__ import annotations

import shutil
import warnings
from datetime import timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Inspector, Table, inspect

import crib.store.migrations
from crib.acts.book_feed import BreakageNews, FeedNews, book_feed
from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.errors import Refusal
from crib.records.catalogue import CATALOGUE, CLOSURES
from crib.sentence import Sentence, sentence
from crib.store.bounds import BOUNDED
from crib.store.checking import check
from crib.store.doubt_rows import open_doubts
from crib.store.engine import Store, Tx
from crib.store.engines.sqlite.guards import statements
from crib.store.feeds import list_feeds
from crib.store.migrate import HEAD, migrate, needs_migration, open_store, schema_version
from crib.store.records import list_records
from crib.store.revisions import revision
from crib.store.tables import APPEND_ONLY, metadata
from crib.store.verdict_rows import waiting_for_verdict


def schema(store: Store, kind: str) -> dict[str, str]:
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT name, sql FROM sqlite_master WHERE type = ? AND sql IS NOT NULL"
            " AND name <> 'alembic_version' AND name NOT LIKE 'sqlite_%'",
            (kind,),
        )
        return {name: " ".join(sql.split()) for name, sql in rows}


def created_from_metadata(path: Path) -> Store:
    created = Store(f"sqlite:///{path}")
    metadata.create_all(created.engine)
    return created


def test_migrations_give_the_tables(store):
    with store.engine.connect() as connection, warnings.catch_warnings():
        # an index over an expression cannot be read back; the next test compares its SQL
        warnings.filterwarnings("ignore", message=".*expression-based index")
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_migrations_give_the_same_indexes_checks_and_triggers(store, tmp_path):
    created = created_from_metadata(tmp_path / "created.db")

    assert schema(store, "index") == schema(created, "index")
    made = statements(APPEND_ONLY, BOUNDED)
    assert schema(store, "trigger") == {n: " ".join(s.split()) for n, s in made.items()}
    ours, theirs = inspect(store.engine), inspect(created.engine)
    assert set(ours.get_table_names()) - {"alembic_version"} == set(theirs.get_table_names())
    for table in theirs.get_table_names():
        assert checks(ours, table) == checks(theirs, table)
        assert foreign_keys(ours, table) == foreign_keys(theirs, table)
    for kept in ("WITHOUT ROWID", "AUTOINCREMENT"):
        assert {n for n, sql in schema(store, "table").items() if kept in sql} == {
            n for n, sql in schema(created, "table").items() if kept in sql
        }
    created.close()


def checks(inspector: Inspector, table: str) -> dict[str, str]:
    found = inspector.get_check_constraints(table)
    return {str(row["name"]): " ".join(row["sqltext"].split()) for row in found}


def foreign_keys(inspector: Inspector, table: str) -> list[tuple[object, ...]]:
    return sorted(
        (row["name"], row["constrained_columns"], row["referred_table"], str(row["options"]))
        for row in inspector.get_foreign_keys(table)
    )


def test_the_newest_migration_is_the_head():
    folder = str(Path(crib.store.migrations.__file__).parent)

    assert ScriptDirectory(folder, version_locations=[folder]).get_heads() == [HEAD]


def test_a_new_file_is_made_and_opened_again_as_it_is(tmp_path):
    url = f"sqlite:///{tmp_path}/deep/folder/crib.db"

    first = open_store(url)
    first.close()
    again = open_store(url)

    assert schema_version(again) == HEAD
    with again.read() as tx:
        assert revision(tx) == 0
    again.close()


def test_an_empty_file_needs_a_migration(tmp_path):
    empty = Store(f"sqlite:///{tmp_path}/crib.db")

    assert schema_version(empty) is None
    assert needs_migration(empty)
    empty.close()


def test_a_migration_keeps_the_rows_that_it_finds(store, shop):
    with store.read() as tx:
        before = {record.name: list_records(tx, record) for record in CATALOGUE}

    migrate(store)

    with store.read() as tx:
        assert {record.name: list_records(tx, record) for record in CATALOGUE} == before
        assert tx.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


#: Tables and columns that the first shape did not have.
LATER = {"closures", "kept_forecasts", "preset_overrides", "label_prints", "rack_places"} | {
    "feeds", "feed_gaps", "machine_now", "machine_rests", "tools_seen", "count_verdicts",
    "breakages", "question_dismissals", "count_sources", "counts_booked_later",
    "active_conditions",
    "breakage_doubts", "breakage_answers", "broker_sessions", "digest_chain",
    "row_digests", "machine_revisions", "night_choices", "life_confirmations",
}  # fmt: skip
LATER_COLUMNS = {
    "operations.contact_share", "gauges.line_pattern", "gauges.resolution_tenths_um",
    "holders.remark",
    "machines.count_item",
    "machines.parts_per_cycle", "machines.breakage_signals", "machines.path_counters",
    "machines.night_limit_percent", "machines.night_limit_loss_minor",
    "kept_forecasts.night_scale",
    "count_batches.path", "count_refusals.path",
    "count_readings.path", "count_readings.source_id", "count_readings.starts",
    "feeds.lacks_us", "feeds.problem_sentence", "feeds.assets_problem_sentence",
    "count_refusals.detail_sentence", "breakage_doubts.why_sentence",
    "revisions.shared", "revisions.everything",
}  # fmt: skip


def everything(store: Store, besides: set[str]) -> dict[str, list[tuple[object, ...]]]:
    def rows(tx: Tx, table: Table) -> list[tuple[object, ...]]:
        columns = [column.name for column in table.c if str(column) not in LATER_COLUMNS]
        found = tx.exec_driver_sql(f"SELECT {', '.join(columns)} FROM {table.name}")
        return sorted((tuple(row) for row in found), key=repr)

    with store.read() as tx:
        return {
            name: rows(tx, table)
            for name, table in metadata.tables.items()
            if name not in besides
        }


def test_a_filled_database_of_the_first_shape_comes_up_with_every_row(store, shop):
    with store.write() as tx:
        at = shop.start + timedelta(hours=1)
        build_assembly(tx, at, BuildAssembly("TURN-OD", "TH-1", "LOT-I1", at=at))
        report_counts(tx, at, ReportCounts("M1", [CountReading(at, 7)]))
    before = everything(store, LATER)
    migrate(store, "0001")
    assert schema_version(store) == "0001"
    assert everything(store, LATER) == before
    assert len(before["facts"]) == 2
    assert before["count_readings"]

    migrate(store)

    assert everything(store, LATER) == before
    with store.read() as tx:
        assert list_records(tx, CLOSURES) == []


def test_down_leaves_nothing_and_up_again_gives_all(store):
    before = schema(store, "table"), schema(store, "index"), schema(store, "trigger")

    migrate(store, "base")

    assert schema_version(store) is None
    assert schema(store, "table") == schema(store, "trigger") == {}
    migrate(store)
    assert (schema(store, "table"), schema(store, "index"), schema(store, "trigger")) == before


def test_a_migration_that_fails_changes_nothing(store, shop):
    before = schema(store, "table")
    with store.engine.connect() as connection:
        # the way down stumbles over it after it has dropped others
        connection.exec_driver_sql("DROP TABLE count_refusals")
        damaged = schema(store, "table")

    with pytest.raises(Exception, match="count_refusals"):
        migrate(store, "base")

    assert schema(store, "table") == damaged != before
    assert schema_version(store) == HEAD


def test_a_database_of_a_newer_version_is_refused(store):
    with store.engine.connect() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")

    with pytest.raises(Refusal, match="9999"):
        open_store(store.url)


def test_a_copied_file_is_a_database_of_its_own(store, shop, tmp_path):
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    copy = tmp_path / "copy.db"
    shutil.copy(tmp_path / "crib.db", copy)

    opened = open_store(f"sqlite:///{copy}")

    with opened.read() as mine, store.read() as theirs:
        for record in CATALOGUE:
            assert list_records(mine, record) == list_records(theirs, record)
    opened.close()


def test_conditions_in_words_of_their_own_become_remarks(store, shop):
    """What meant something keeps its meaning; what did not is kept in the words written."""
    written = {"TH-1": "In repair", "TH-2": "wobbly, see B.", "TH-3": "ok", "DH-1": None}
    migrate(store, "0020")
    with store.reshape() as tx:  # the older shape counts writes in another way
        for holder, words in written.items():
            tx.exec_driver_sql(
                "UPDATE holders SET condition = ? WHERE holder = ?", (words, holder)
            )

    migrate(store)

    with store.read() as tx:
        rows = tx.exec_driver_sql("SELECT holder, condition, remark FROM holders").fetchall()
    found = {row[0]: tuple(row[1:]) for row in rows}
    assert {name: found[name] for name in written} == {
        "TH-1": ("repair", None),
        "TH-2": (None, "wobbly, see B."),
        "TH-3": ("good", None),
        "DH-1": (None, None),
    }
    assert check(store) == []


def book_trouble(store, shop, hour):
    """A feed that fails, a breakage of nobody knows which tool, a count of the future."""
    at = shop.start + timedelta(hours=hour)
    broken = [BreakageNews(at, "path1", 77, f"load {hour}", None)]
    problem = sentence("The agent {name} does not answer.", name="left")
    with store.write() as tx:
        told = FeedNews("M1", "mqtt", at, breakages=broken, state="waiting", problem=problem)
        book_feed(tx, at, told)
        report_counts(tx, at, ReportCounts("M1", [CountReading(at + timedelta(hours=9), 7)]))


def texts_of_trouble(store):
    """What is shown of them: the feed's problem, why the breakages are asked about, details."""
    with store.read() as tx:
        (feed,) = list_feeds(tx)
        doubts = [one.told.why for one in open_doubts(tx)]
        return [feed.problem, *doubts, *(one.sentence for one in waiting_for_verdict(tx)[::-1])]


def test_sentences_of_before_keep_their_text_and_new_ones_their_values_too(store, shop):
    book_trouble(store, shop, 1)
    before = texts_of_trouble(store)
    assert all(isinstance(one, Sentence) for one in before)

    migrate(store, "0021")
    assert check(store) != []  # of an older shape
    migrate(store)

    assert texts_of_trouble(store) == before
    assert not any(isinstance(one, Sentence) for one in texts_of_trouble(store))
    assert check(store) == []
    book_trouble(store, shop, 2)
    problem, *told = texts_of_trouble(store)
    assert isinstance(problem, Sentence)
    assert problem.values == {"name": "left"}
    assert [isinstance(one, Sentence) for one in told] == [False, True, False, True]
    assert check(store) == []
