"""A person says that the record of an edge's life is right."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLE = "life_confirmations"
KIND = "life_confirmation"
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
    "count_verdict",
    "breakage",
    "question_dismissal",
    "night_choice",
    "reversal",
)
#: The one trigger of another table that looks into the facts.
LOOKS_AT_FACTS = "count_readings_no_delete"


def _append_only(table: str) -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON"
            f" {table} BEGIN SELECT RAISE(ABORT, 'append only: {table}'); END"
        )


def _facts_of_kinds(kinds: Sequence[str], keep: str = "1") -> None:
    """Make the table of facts anew: SQLite changes no check of a table that stands."""
    known = ", ".join(f"'{kind}'" for kind in kinds)
    looks = op.get_bind().scalar(
        sa.text("SELECT sql FROM sqlite_master WHERE name = :name"), {"name": LOOKS_AT_FACTS}
    )
    op.execute(f"DROP TRIGGER {LOOKS_AT_FACTS}")  # it could not be renamed beneath it
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
    _append_only("facts")
    op.execute(looks)


def upgrade() -> None:
    _facts_of_kinds((*KINDS[:-1], KIND, KINDS[-1]))
    op.create_table(
        TABLE,
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("removal_id", sa.Integer(), nullable=False),
        sa.Column("parts", sa.Integer(), nullable=False),
        sa.CheckConstraint("parts >= 0", name=f"ck_{TABLE}_parts_from_0"),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name=f"fk_{TABLE}_fact_id"),
        sa.ForeignKeyConstraint(
            ["removal_id"], ["removals.fact_id"], name=f"fk_{TABLE}_removal_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name=f"pk_{TABLE}"),
    )
    op.create_index(f"ix_{TABLE}_removal_id", TABLE, ["removal_id"])
    _append_only(TABLE)


def downgrade() -> None:
    op.drop_table(TABLE)
    gone = f"SELECT id FROM facts WHERE kind = '{KIND}'"  # noqa: S608 - our own name alone
    _facts_of_kinds(
        KINDS, keep=f"id NOT IN ({gone}) AND coalesce(reverses_id, 0) NOT IN ({gone})"
    )
