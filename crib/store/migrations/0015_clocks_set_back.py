"""What is added to the clock of a machine that was set back is kept with its feed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.add_column("feeds", sa.Column("lacks_us", BIG, nullable=True))


def downgrade() -> None:
    op.execute("ALTER TABLE feeds DROP COLUMN lacks_us")
