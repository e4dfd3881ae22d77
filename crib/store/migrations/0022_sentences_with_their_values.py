"""Sentences keep their template and values beside their English text.

What was recorded before has its text alone and stays as it is.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"

_COLUMNS = (
    ("count_refusals", "detail_sentence"),
    ("breakage_doubts", "why_sentence"),
    ("feeds", "problem_sentence"),
    ("feeds", "assets_problem_sentence"),
)


def upgrade() -> None:
    for table, column in _COLUMNS:
        op.add_column(table, sa.Column(column, sa.JSON(), nullable=True))


def downgrade() -> None:
    for table, column in _COLUMNS:
        op.drop_column(table, column)
