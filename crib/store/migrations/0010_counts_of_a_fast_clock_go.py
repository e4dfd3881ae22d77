"""A reading that is kept aside as dated ahead leaves the accepted ones."""

from __future__ import annotations

from alembic import op

revision = "0010"
down_revision = "0009"

_NAME = "count_readings_no_delete"
_TAKEN_BACK = (
    "NOT EXISTS (SELECT 1 FROM count_verdicts AS v JOIN facts AS f"
    " ON f.reverses_id = v.fact_id WHERE v.fact_id = OLD.batch_id)"
)
_ASIDE = (
    "NOT EXISTS (SELECT 1 FROM count_refusals AS r WHERE r.machine_id = OLD.machine_id"
    " AND r.at = OLD.at AND r.reason = 'in_future')"
)


def _trigger(condition: str) -> None:
    op.execute(f"DROP TRIGGER {_NAME}")
    op.execute(  # our own words alone
        f"CREATE TRIGGER {_NAME} BEFORE DELETE ON count_readings WHEN {condition}"
        " BEGIN SELECT RAISE(ABORT, 'append only: count_readings'); END"
    )


def upgrade() -> None:
    _trigger(f"{_TAKEN_BACK} AND {_ASIDE}")


def downgrade() -> None:
    _trigger(_TAKEN_BACK)
