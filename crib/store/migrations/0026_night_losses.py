"""The loss by failures at night that a supervisor accepts for a machine."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

revision = "0026"
down_revision = "0025"

_BEFORE = (
    ("spindle_max_rpm", "1.0", "200000.0", False),
    ("headstock_stroke_mm", "1.0", "5000.0", False),
    ("bar_length_mm", "10.0", "20000.0", False),
    ("bar_remnant_mm", "0.1", "5000.0", True),
    ("offset_increment_tenths_um", "1", "10000", False),
    ("parts_per_cycle", "1", "1000", False),
    ("night_limit_percent", "0.1", "50.0", False),
)
_NEW = ("night_limit_loss_minor", "100", "1000000000", False)


def _bound(columns: tuple[tuple[str, str, str, bool], ...]) -> None:
    for verb in ("insert", "update"):
        op.execute(f"DROP TRIGGER machines_bounds_{verb}")
    new, changed = [], []
    for name, least, most, zero in columns:
        kinds = "('integer', 'real')" if "." in most else "('integer')"
        nothing = f"NEW.{name} = 0 OR " if zero else ""
        outside = (
            f"NEW.{name} IS NOT NULL AND NOT (typeof(NEW.{name}) IN {kinds}"
            f" AND ({nothing}NEW.{name} BETWEEN {least} AND {most}))"
        )
        refusal = f"THEN RAISE(ABORT, 'implausible number: machines.{name}')"
        new.append(f"WHEN {outside} {refusal}")
        changed.append(f"WHEN NEW.{name} IS NOT OLD.{name} AND {outside} {refusal}")
    names = ", ".join(name for name, *_ in columns)
    op.execute(
        "CREATE TRIGGER machines_bounds_insert BEFORE INSERT ON machines"
        f" BEGIN SELECT CASE {' '.join(new)} END; END"
    )
    op.execute(
        f"CREATE TRIGGER machines_bounds_update BEFORE UPDATE OF {names} ON machines"
        f" BEGIN SELECT CASE {' '.join(changed)} END; END"
    )


def upgrade() -> None:
    op.add_column("machines", sa.Column("night_limit_loss_minor", BIG, nullable=True))
    _bound((*_BEFORE, _NEW))


def downgrade() -> None:
    _bound(_BEFORE)
    op.drop_column("machines", "night_limit_loss_minor")
