"""A third verdict on a count: the counter was set; and what could be booked thanks to it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"

TABLE = "count_verdicts"
BOOKED = "counts_booked_later"


def _append_only(table: str) -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON"
            f" {table} BEGIN SELECT RAISE(ABORT, 'append only: {table}'); END"
        )


def _verdicts(words: tuple[str, ...]) -> None:
    """Make the table anew: SQLite changes no check of a table that stands."""
    known = ", ".join(f"'{word}'" for word in words)
    op.create_table(
        f"{TABLE}_anew",
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("refusal_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.CheckConstraint(f"verdict IN ({known})", name=f"ck_{TABLE}_known_verdict"),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name=f"fk_{TABLE}_fact_id"),
        sa.ForeignKeyConstraint(
            ["refusal_id"], ["count_refusals.id"], name=f"fk_{TABLE}_refusal_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name=f"pk_{TABLE}"),
    )
    # an older shape knows the counter that was set as a count that was accepted
    word = "CASE verdict WHEN 'counter_set' THEN 'accepted' ELSE verdict END"
    verdict = "verdict" if "counter_set" in words else word
    op.execute(
        f"INSERT INTO {TABLE}_anew SELECT fact_id, refusal_id, {verdict} FROM {TABLE}"  # noqa: S608
    )
    op.execute(f"DROP TABLE {TABLE}")
    op.execute(f"ALTER TABLE {TABLE}_anew RENAME TO {TABLE}")
    op.create_index(f"ix_{TABLE}_refusal_id", TABLE, ["refusal_id"])
    _append_only(TABLE)


def upgrade() -> None:
    _verdicts(("accepted", "discarded", "counter_set"))
    op.create_table(
        BOOKED,
        sa.Column("fact_id", sa.Integer(), nullable=False),
        sa.Column("refusal_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name=f"fk_{BOOKED}_fact_id"),
        sa.ForeignKeyConstraint(
            ["refusal_id"], ["count_refusals.id"], name=f"fk_{BOOKED}_refusal_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", "refusal_id", name=f"pk_{BOOKED}"),
    )
    op.create_index(f"ix_{BOOKED}_refusal_id", BOOKED, ["refusal_id"])
    _append_only(BOOKED)


def downgrade() -> None:
    op.drop_table(BOOKED)
    _verdicts(("accepted", "discarded"))
