"""The number of a write is kept for each machine, and for what all machines share."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    for name in ("shared", "everything"):
        op.add_column(
            "revisions", sa.Column(name, sa.Integer(), nullable=False, server_default="0")
        )
    op.create_table(
        "machine_revisions",
        sa.Column("machine_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"],
            ["machines.id"],
            name="fk_machine_revisions_machine_id",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("machine_id", name="pk_machine_revisions"),
    )


def downgrade() -> None:
    op.drop_table("machine_revisions")
    op.drop_column("revisions", "everything")
    op.drop_column("revisions", "shared")
