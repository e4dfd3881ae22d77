"""Holidays, one-off closures and extra shifts of a calendar."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "closures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calendar_id", sa.Integer(), nullable=False),
        sa.Column("start_local", sa.String(), nullable=False),
        sa.Column("end_local", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("attended", sa.Boolean(), nullable=True),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["calendar_id"],
            ["calendars.id"],
            name="fk_closures_calendar_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_closures"),
        sa.UniqueConstraint("calendar_id", "start_local", "kind", name="uq_closures_key"),
    )
    op.create_index("ix_closures_calendar_id", "closures", ["calendar_id"])


def downgrade() -> None:
    op.drop_table("closures")
