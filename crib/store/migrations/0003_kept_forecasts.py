"""Forecasts that were shown, kept to be judged by what then happened."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _number(name: str) -> sa.Column[float]:
    return sa.Column(name, sa.Float(), nullable=False)


def upgrade() -> None:
    op.create_table(
        "kept_forecasts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", BIG, nullable=False),
        sa.Column("occasion", sa.String(), nullable=False),
        sa.Column("mount_id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("first_of_stay", sa.Boolean(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("life_key", sa.String(), nullable=False),
        _number("age"),
        _number("wear_per_part"),
        _number("left_p05"),
        _number("left_p10"),
        _number("left_p25"),
        _number("left_p50"),
        _number("left_p75"),
        _number("left_p90"),
        _number("left_p95"),
        sa.Column("shift_ends_at", BIG, nullable=False),
        _number("lasts_shift"),
        sa.Column("unattended_begins_at", BIG, nullable=True),
        sa.Column("unattended_ends_at", BIG, nullable=True),
        sa.Column("fails_unattended", sa.Float(), nullable=True),
        _number("life_p10"),
        _number("life_p50"),
        _number("life_p90"),
        _number("widening"),
        sa.CheckConstraint(
            "occasion IN ('shift', 'last')", name="ck_kept_forecasts_known_occasion"
        ),
        sa.CheckConstraint(
            "age >= 0 AND wear_per_part > 0", name="ck_kept_forecasts_wear_above_0"
        ),
        sa.CheckConstraint(
            "0 < left_p05 AND left_p05 < left_p10 AND left_p10 < left_p25 AND"
            " left_p25 < left_p50 AND left_p50 < left_p75 AND left_p75 < left_p90 AND"
            " left_p90 < left_p95",
            name="ck_kept_forecasts_quantiles_rise",
        ),
        sa.CheckConstraint(
            "0 < life_p10 AND life_p10 < life_p50 AND life_p50 < life_p90",
            name="ck_kept_forecasts_lives_rise",
        ),
        sa.CheckConstraint(
            "lasts_shift BETWEEN 0 AND 1 AND coalesce(fails_unattended, 0) BETWEEN 0 AND 1",
            name="ck_kept_forecasts_chances",
        ),
        sa.CheckConstraint(
            "(fails_unattended IS NULL) = (unattended_begins_at IS NULL)"
            " AND (fails_unattended IS NULL) = (unattended_ends_at IS NULL)",
            name="ck_kept_forecasts_whole_stretch",
        ),
        sa.CheckConstraint("widening >= 1", name="ck_kept_forecasts_never_narrowed"),
        sa.ForeignKeyConstraint(
            ["mount_id"], ["mounts.fact_id"], name="fk_kept_forecasts_mount_id"
        ),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_kept_forecasts_assembly_id"
        ),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], name="fk_kept_forecasts_part_id"),
        sa.PrimaryKeyConstraint("id", name="pk_kept_forecasts"),
    )
    op.create_index("ix_kept_forecasts_at", "kept_forecasts", ["at"])
    op.create_index("ix_kept_forecasts_assembly_id", "kept_forecasts", ["assembly_id"])
    op.create_index(
        "uq_kept_forecasts_shift",
        "kept_forecasts",
        ["mount_id", "shift_ends_at"],
        unique=True,
        sqlite_where=sa.text("occasion = 'shift'"),
    )
    op.create_index(
        "uq_kept_forecasts_first",
        "kept_forecasts",
        ["mount_id"],
        unique=True,
        sqlite_where=sa.text("first_of_stay"),
    )
    op.create_index(
        "ix_kept_forecasts_key",
        "kept_forecasts",
        ["life_key", "id"],
        sqlite_where=sa.text("first_of_stay"),
    )
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER kept_forecasts_no_{verb.lower()} BEFORE {verb} ON"
            " kept_forecasts BEGIN SELECT RAISE(ABORT, 'append only: kept_forecasts'); END"
        )


def downgrade() -> None:
    op.drop_table("kept_forecasts")
