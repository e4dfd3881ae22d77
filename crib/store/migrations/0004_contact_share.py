"""The share of the feed time in which an operation's edge is in contact."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column("operations", sa.Column("contact_share", sa.Float(), nullable=True))


def downgrade() -> None:
    op.drop_column("operations", "contact_share")
