"""The factor that chances of a night stood under when they were shown."""

from __future__ import annotations

from alembic import op

revision = "0027"
down_revision = "0026"


def upgrade() -> None:
    # Added with its check at once: a table that refuses updates is not to be rebuilt.
    op.execute(
        "ALTER TABLE kept_forecasts ADD COLUMN night_scale FLOAT"
        " CONSTRAINT ck_kept_forecasts_night_scale_above_0 CHECK (night_scale > 0)"
    )


def downgrade() -> None:
    op.execute("ALTER TABLE kept_forecasts DROP COLUMN night_scale")
