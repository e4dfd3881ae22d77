"""What machines say of themselves: feeds, their gaps, states, tools; verdicts; breakages."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
APPEND_ONLY = ("feed_gaps", "count_verdicts", "breakages")
STATES = ("feeds", "machine_now", "machine_rests", "tools_seen")
KINDS = (
    "build",
    "preset",
    "mount",
    "removal",
    "correction",
    "count",
    "gauge_check",
    "stock_move",
    "stop",
    "teardown",
    "label_print",
    "rack_place",
    "reversal",
)
NEW_KINDS = ("count_verdict", "breakage")


def _triggers(table: str) -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON"
            f" {table} BEGIN SELECT RAISE(ABORT, 'append only: {table}'); END"
        )


def _facts_of_kinds(kinds: Sequence[str], keep: str = "1") -> None:
    """Make the table of facts anew: SQLite changes no check of a table that stands."""
    known = ", ".join(f"'{kind}'" for kind in kinds)
    op.create_table(
        "facts_anew",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", BIG, nullable=False),
        sa.Column("recorded_at", BIG, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("reverses_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "(kind = 'reversal') = (reverses_id IS NOT NULL)", name="ck_facts_names_reversed"
        ),
        sa.CheckConstraint(f"kind IN ({known})", name="ck_facts_known_kind"),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_facts_person_id"),
        sa.ForeignKeyConstraint(["reverses_id"], ["facts.id"], name="fk_facts_reverses_id"),
        sa.PrimaryKeyConstraint("id", name="pk_facts"),
        sa.UniqueConstraint("reverses_id", name="uq_facts_reverses_id"),
        sqlite_autoincrement=True,
    )
    columns = "id, kind, at, recorded_at, person_id, note, reverses_id"
    op.execute(
        f"INSERT INTO facts_anew ({columns}) SELECT {columns} FROM facts WHERE {keep}"  # noqa: S608
    )
    # a number is never given twice, not even that of a fact which this leaves out
    last_given = "SELECT seq FROM sqlite_sequence WHERE name = 'facts'"
    op.execute("DELETE FROM sqlite_sequence WHERE name = 'facts_anew'")
    op.execute(
        f"INSERT INTO sqlite_sequence (name, seq) SELECT 'facts_anew', seq FROM ({last_given})"  # noqa: S608
    )
    op.execute("DROP TABLE facts")
    op.execute("ALTER TABLE facts_anew RENAME TO facts")
    op.create_index("ix_facts_recorded_at", "facts", ["recorded_at"])
    _triggers("facts")


def _machine() -> sa.Column[int]:
    return sa.Column("machine_id", sa.Integer(), nullable=False)


def _of_machine(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["machine_id"], ["machines.id"], name=f"fk_{table}_machine_id"
    )


def _of_fact(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name=f"fk_{table}_fact_id")


def upgrade() -> None:
    op.add_column("machines", sa.Column("count_item", sa.String(), nullable=True))
    op.add_column("machines", sa.Column("parts_per_cycle", sa.Integer(), nullable=True))
    _facts_of_kinds((*KINDS[:-1], *NEW_KINDS, KINDS[-1]))
    op.create_table(
        "feeds",
        _machine(),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("problem", sa.String(), nullable=True),
        sa.Column("heard_at", BIG, nullable=True),
        sa.Column("counted_at", BIG, nullable=True),
        sa.Column("lag_us", BIG, nullable=True),
        sa.Column("instance_id", BIG, nullable=True),
        sa.Column("next_sequence", BIG, nullable=True),
        sa.CheckConstraint(
            "source IN ('mtconnect', 'mqtt', 'folder', 'http')", name="ck_feeds_known_source"
        ),
        sa.CheckConstraint(
            "state IN ('following', 'waiting', 'stopped')", name="ck_feeds_known_state"
        ),
        _of_machine("feeds"),
        sa.PrimaryKeyConstraint("machine_id", name="pk_feeds"),
    )
    op.create_table(
        "feed_gaps",
        sa.Column("id", sa.Integer(), nullable=False),
        _machine(),
        sa.Column("found_at", BIG, nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("from_sequence", BIG, nullable=True),
        sa.Column("until_sequence", BIG, nullable=True),
        _of_machine("feed_gaps"),
        sa.PrimaryKeyConstraint("id", name="pk_feed_gaps"),
    )
    op.create_index("ix_feed_gaps_machine_id", "feed_gaps", ["machine_id"])
    op.create_table(
        "machine_now",
        _machine(),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("since", BIG, nullable=False),
        sa.Column("value", sa.String(), nullable=True),
        _of_machine("machine_now"),
        sa.PrimaryKeyConstraint("machine_id", "kind", "path", name="pk_machine_now"),
    )
    op.create_table(
        "machine_rests",
        _machine(),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("begins_at", BIG, nullable=False),
        sa.Column("ends_at", BIG, nullable=False),
        sa.Column("value", sa.String(), nullable=True),
        _of_machine("machine_rests"),
        sa.PrimaryKeyConstraint("machine_id", "path", "begins_at", name="pk_machine_rests"),
    )
    op.create_table(
        "tools_seen",
        _machine(),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("tool_number", sa.Integer(), nullable=False),
        sa.Column("asset", sa.String(), nullable=False),
        sa.Column("first_at", BIG, nullable=False),
        sa.Column("last_at", BIG, nullable=False),
        _of_machine("tools_seen"),
        sa.PrimaryKeyConstraint(
            "machine_id", "path", "tool_number", "asset", name="pk_tools_seen"
        ),
    )
    op.create_table(
        "count_verdicts",
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("refusal_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.CheckConstraint(
            "verdict IN ('accepted', 'discarded')", name="ck_count_verdicts_known_verdict"
        ),
        _of_fact("count_verdicts"),
        sa.ForeignKeyConstraint(
            ["refusal_id"], ["count_refusals.id"], name="fk_count_verdicts_refusal_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name="pk_count_verdicts"),
    )
    op.create_index("ix_count_verdicts_refusal_id", "count_verdicts", ["refusal_id"])
    op.create_table(
        "breakages",
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("mount_id", sa.Integer(), nullable=False),
        sa.Column("signal", sa.String(), nullable=False),
        _of_fact("breakages"),
        sa.ForeignKeyConstraint(["mount_id"], ["mounts.fact_id"], name="fk_breakages_mount_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_breakages"),
    )
    op.create_index("ix_breakages_mount_id", "breakages", ["mount_id"])
    for table in APPEND_ONLY:
        _triggers(table)


def downgrade() -> None:
    for table in (*APPEND_ONLY, *STATES):
        op.drop_table(table)
    gone = ", ".join(f"'{kind}'" for kind in NEW_KINDS)
    new = f"SELECT id FROM facts WHERE kind IN ({gone})"  # noqa: S608 - our own names alone
    _facts_of_kinds(
        KINDS, keep=f"id NOT IN ({new}) AND coalesce(reverses_id, 0) NOT IN ({new})"
    )
    op.drop_column("machines", "parts_per_cycle")
    op.drop_column("machines", "count_item")
