"""Lines of gauges, overridden gauge checks, printed labels and places in the rack."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLES = ("preset_overrides", "label_prints", "rack_places")
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
    "reversal",
)
NEW_KINDS = ("label_print", "rack_place")


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


def upgrade() -> None:
    op.add_column("gauges", sa.Column("line_pattern", sa.String(), nullable=True))
    _facts_of_kinds((*KINDS[:-1], *NEW_KINDS, KINDS[-1]))
    op.create_table(
        "preset_overrides",
        sa.Column("preset_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("problems", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["preset_id"], ["presets.fact_id"], name="fk_preset_overrides_preset_id"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["people.id"], name="fk_preset_overrides_person_id"
        ),
        sa.PrimaryKeyConstraint("preset_id", name="pk_preset_overrides"),
    )
    op.create_table(
        "label_prints",
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("preset_id", sa.Integer(), nullable=True),
        sa.Column("stock", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("queue", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_label_prints_fact_id"),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_label_prints_assembly_id"
        ),
        sa.ForeignKeyConstraint(["code"], ["label_codes.code"], name="fk_label_prints_code"),
        sa.ForeignKeyConstraint(
            ["preset_id"], ["presets.fact_id"], name="fk_label_prints_preset_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name="pk_label_prints"),
    )
    op.create_index("ix_label_prints_assembly_id", "label_prints", ["assembly_id"])
    op.create_table(
        "rack_places",
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("place", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_rack_places_fact_id"),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_rack_places_assembly_id"
        ),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_rack_places_machine_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name="pk_rack_places"),
    )
    op.create_index("ix_rack_places_assembly_id", "rack_places", ["assembly_id"])
    op.create_index("ix_rack_places_machine_id", "rack_places", ["machine_id"])
    for table in TABLES:
        _triggers(table)


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
    gone = ", ".join(f"'{kind}'" for kind in NEW_KINDS)
    new = f"SELECT id FROM facts WHERE kind IN ({gone})"  # noqa: S608 - our own names alone
    _facts_of_kinds(
        KINDS, keep=f"id NOT IN ({new}) AND coalesce(reverses_id, 0) NOT IN ({new})"
    )
    op.drop_column("gauges", "line_pattern")
