"""When tools were sent to a machine's agent last, and why not."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.add_column("feeds", sa.Column("assets_sent_at", BIG, nullable=True))
    op.add_column("feeds", sa.Column("assets_problem", sa.String(), nullable=True))


def downgrade() -> None:
    op.drop_column("feeds", "assets_problem")
    op.drop_column("feeds", "assets_sent_at")
