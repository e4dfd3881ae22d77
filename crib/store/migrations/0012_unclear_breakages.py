"""What is active at an agent is kept; breakages of nobody knows which tool are asked about."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
DISMISSALS = "question_dismissals"
DOUBTS = "breakage_doubts"
ANSWERS = "breakage_answers"
CONDITIONS = "active_conditions"
_KEPT = "fact_id, station_id, path, tool_number, asset, since, mount_id"


def _append_only(table: str) -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON"
            f" {table} BEGIN SELECT RAISE(ABORT, 'append only: {table}'); END"
        )


def _dismissals_anew(*, without_station: bool) -> None:
    """Make the table anew: SQLite lets no column of one that stands become empty."""
    op.drop_index(f"ix_{DISMISSALS}_station_id")
    op.create_table(
        f"{DISMISSALS}_anew",
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=without_station),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("tool_number", sa.Integer(), nullable=without_station),
        sa.Column("asset", sa.String(), nullable=False),
        sa.Column("since", BIG, nullable=False),
        sa.Column("mount_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name=f"fk_{DISMISSALS}_fact_id"),
        sa.ForeignKeyConstraint(
            ["station_id"], ["stations.id"], name=f"fk_{DISMISSALS}_station_id"
        ),
        sa.ForeignKeyConstraint(
            ["mount_id"], ["mounts.fact_id"], name=f"fk_{DISMISSALS}_mount_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name=f"pk_{DISMISSALS}"),
    )
    op.execute(
        f"INSERT INTO {DISMISSALS}_anew ({_KEPT}) SELECT {_KEPT} FROM {DISMISSALS}"  # noqa: S608
    )
    op.drop_table(DISMISSALS)
    op.rename_table(f"{DISMISSALS}_anew", DISMISSALS)
    op.create_index(f"ix_{DISMISSALS}_station_id", DISMISSALS, ["station_id"])
    _append_only(DISMISSALS)


def upgrade() -> None:
    op.create_table(
        CONDITIONS,
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name=f"fk_{CONDITIONS}_machine_id"
        ),
        sa.PrimaryKeyConstraint("machine_id", "item", "code", name=f"pk_{CONDITIONS}"),
    )
    op.create_table(
        DOUBTS,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("tool_number", sa.Integer(), nullable=True),
        sa.Column("at", BIG, nullable=False),
        sa.Column("signal", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("found_at", BIG, nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name=f"fk_{DOUBTS}_machine_id"
        ),
        sa.PrimaryKeyConstraint("id", name=f"pk_{DOUBTS}"),
    )
    op.create_index(f"ix_{DOUBTS}_machine_id", DOUBTS, ["machine_id"])
    _append_only(DOUBTS)
    op.create_table(
        ANSWERS,
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("doubt_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name=f"fk_{ANSWERS}_fact_id"),
        sa.ForeignKeyConstraint(["doubt_id"], [f"{DOUBTS}.id"], name=f"fk_{ANSWERS}_doubt_id"),
        sa.PrimaryKeyConstraint("fact_id", name=f"pk_{ANSWERS}"),
    )
    op.create_index(f"ix_{ANSWERS}_doubt_id", ANSWERS, ["doubt_id"])
    _append_only(ANSWERS)
    _dismissals_anew(without_station=True)


def downgrade() -> None:
    op.drop_table(ANSWERS)
    op.execute(f"DROP TRIGGER {DISMISSALS}_no_delete")
    op.execute(f"DELETE FROM {DISMISSALS} WHERE station_id IS NULL")  # noqa: S608
    _dismissals_anew(without_station=False)
    op.drop_table(DOUBTS)
    op.drop_table(CONDITIONS)
