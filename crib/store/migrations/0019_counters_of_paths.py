"""Paths of a machine that have a part counter of their own."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"


def upgrade() -> None:
    op.add_column("machines", sa.Column("path_counters", sa.String(), nullable=True))


def downgrade() -> None:
    op.drop_column("machines", "path_counters")
