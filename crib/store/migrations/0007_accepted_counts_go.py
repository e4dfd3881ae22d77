"""A reading that came in by a person's word leaves again when that word is taken back."""

from __future__ import annotations

from alembic import op

revision = "0007"
down_revision = "0006"

_NAME = "count_readings_no_delete"
_STOP = "SELECT RAISE(ABORT, 'append only: count_readings'); END"


def upgrade() -> None:
    op.execute(f"DROP TRIGGER {_NAME}")
    op.execute(  # our own words alone
        f"CREATE TRIGGER {_NAME} BEFORE DELETE ON count_readings"  # noqa: S608
        " WHEN NOT EXISTS (SELECT 1 FROM count_verdicts AS v JOIN facts AS f"
        " ON f.reverses_id = v.fact_id WHERE v.fact_id = OLD.batch_id)"
        f" BEGIN {_STOP}"
    )


def downgrade() -> None:
    op.execute(f"DROP TRIGGER {_NAME}")
    op.execute(f"CREATE TRIGGER {_NAME} BEFORE DELETE ON count_readings BEGIN {_STOP}")
