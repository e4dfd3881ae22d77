"""Everything that is recorded carries a digest; the file says whose it is.

The digests of what is there already are written at the end of the migration, by
``crib.store.migrate``.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"

#: The letters "crib", which SQLite keeps in the head of the file.
APPLICATION_ID = 0x63726962


def upgrade() -> None:
    op.create_table(
        "digest_chain",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("subject", sa.String, nullable=False),
        sa.Column("key", sa.String, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
        sa.Column("chained", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_digest_chain"),
    )
    op.create_table(
        "row_digests",
        sa.Column("subject", sa.String, nullable=False),
        sa.Column("key", sa.String, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("subject", "key", name="pk_row_digests"),
        sqlite_with_rowid=False,
    )
    op.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def downgrade() -> None:
    op.execute("PRAGMA application_id = 0")
    op.drop_table("row_digests")
    op.drop_table("digest_chain")
