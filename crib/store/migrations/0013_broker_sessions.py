"""Sessions at brokers are known again; a machine has the error of its clock and its uuid."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "broker_sessions",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("seen_at", BIG, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_broker_sessions"),
    )
    op.add_column("feeds", sa.Column("clock_off_us", BIG, nullable=True))
    op.add_column("feeds", sa.Column("device_uuid", sa.String(), nullable=True))


def downgrade() -> None:
    op.drop_column("feeds", "device_uuid")
    op.drop_column("feeds", "clock_off_us")
    op.drop_table("broker_sessions")
