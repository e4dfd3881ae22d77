"""A holder's condition is one word of a list; what else was written there is a remark."""

from __future__ import annotations

import re

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"

_WORDS = (
    "new", "good", "worn", "damaged", "broken", "repair", "quarantine", "lent", "lost",
    "scrapped", "out_of_service",
)  # fmt: skip
_SPELLINGS = {
    "ok": "good", "okay": "good", "fine": "good", "used": "good", "in_use": "good",
    "in_service": "good", "gut": "good", "gebraucht": "good", "neu": "new",
    "verschlissen": "worn", "defective": "damaged", "defekt": "damaged",
    "beschädigt": "damaged", "in_repair": "repair", "under_repair": "repair",
    "reparatur": "repair", "in_reparatur": "repair", "blocked": "quarantine",
    "gesperrt": "quarantine", "missing": "lost", "verloren": "lost", "verliehen": "lent",
    "scrap": "scrapped", "schrott": "scrapped", "verschrottet": "scrapped",
    "retired": "out_of_service", "außer_betrieb": "out_of_service",
}  # fmt: skip


def upgrade() -> None:
    op.add_column("holders", sa.Column("remark", sa.String(), nullable=True))
    connection = op.get_bind()
    rows = connection.exec_driver_sql(
        "SELECT id, condition FROM holders WHERE condition IS NOT NULL"
    ).fetchall()
    for number, written in rows:
        joined = re.sub(r"[\s_-]+", "_", written.strip().lower())
        word = _SPELLINGS.get(joined, joined)
        known = word in _WORDS
        change = (word if known else None, None if known else written, number)
        if change[:2] != (written, None):
            connection.exec_driver_sql(
                "UPDATE holders SET condition = ?, remark = ?, version = version + 1"
                " WHERE id = ?",
                change,
            )


def downgrade() -> None:
    op.execute("UPDATE holders SET condition = remark WHERE condition IS NULL")
    op.drop_column("holders", "remark")
