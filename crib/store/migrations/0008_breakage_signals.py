"""A machine names the conditions of its agent that tell a broken tool."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    op.add_column("machines", sa.Column("breakage_signals", sa.String(), nullable=True))


def downgrade() -> None:
    op.drop_column("machines", "breakage_signals")
