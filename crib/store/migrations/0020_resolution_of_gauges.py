"""The step of a gauge's display."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_BEFORE = (
    ("uncertainty_tenths_um", "1", "10000"),
    ("master_lf_tenths_um", "-20000000", "20000000"),
    ("master_wf_tenths_um", "-20000000", "20000000"),
    ("master_hf_tenths_um", "-20000000", "20000000"),
    ("check_tolerance_tenths_um", "1", "10000"),
    ("check_hours", "0.1", "10000.0"),
)
_NEW = ("resolution_tenths_um", "1", "10000")


def _bound(columns: tuple[tuple[str, str, str], ...]) -> None:
    for verb in ("insert", "update"):
        op.execute(f"DROP TRIGGER gauges_bounds_{verb}")
    new, changed = [], []
    for name, least, most in columns:
        kinds = "('integer', 'real')" if "." in most else "('integer')"
        outside = (
            f"NEW.{name} IS NOT NULL AND NOT (typeof(NEW.{name}) IN {kinds}"
            f" AND (NEW.{name} BETWEEN {least} AND {most}))"
        )
        refusal = f"THEN RAISE(ABORT, 'implausible number: gauges.{name}')"
        new.append(f"WHEN {outside} {refusal}")
        changed.append(f"WHEN NEW.{name} IS NOT OLD.{name} AND {outside} {refusal}")
    names = ", ".join(name for name, *_ in columns)
    op.execute(
        "CREATE TRIGGER gauges_bounds_insert BEFORE INSERT ON gauges"
        f" BEGIN SELECT CASE {' '.join(new)} END; END"
    )
    op.execute(
        f"CREATE TRIGGER gauges_bounds_update BEFORE UPDATE OF {names} ON gauges"
        f" BEGIN SELECT CASE {' '.join(changed)} END; END"
    )


def upgrade() -> None:
    op.add_column("gauges", sa.Column("resolution_tenths_um", BIG, nullable=True))
    _bound((_BEFORE[0], _NEW, *_BEFORE[1:]))


def downgrade() -> None:
    _bound(_BEFORE)
    op.drop_column("gauges", "resolution_tenths_um")
