"""Each reading says which counter of which path it is of, and whether it begins anew."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLE = "count_readings"
_STOP = f"SELECT RAISE(ABORT, 'append only: {TABLE}'); END"
_BACKWARDS = "SELECT RAISE(ABORT, 'part count goes backwards in one life of the counter')"


def _triggers(*, named: bool) -> tuple[str, ...]:
    path, dated, source = (
        (" AND path = NEW.path", "path, at", ", source_id") if named else ("", "at", "")
    )
    mine = f"SELECT life, count FROM {TABLE} WHERE machine_id = NEW.machine_id{path}"  # noqa: S608
    before = f"{mine} AND at < NEW.at ORDER BY at DESC LIMIT 1"
    after = f"{mine} AND at > NEW.at ORDER BY at LIMIT 1"
    count = "count, run_id" if not named else " count, run_id"
    taken_back = (
        "SELECT 1 FROM facts AS w JOIN facts AS f ON f.reverses_id = w.id"
        " WHERE w.id = OLD.batch_id AND w.kind <> 'count'"
        if named
        else "SELECT 1 FROM count_verdicts AS v JOIN facts AS f"
        " ON f.reverses_id = v.fact_id WHERE v.fact_id = OLD.batch_id"
    )
    of_path = " AND r.path = OLD.path" if named else ""
    return (
        f"CREATE TRIGGER {TABLE}_order_insert AFTER INSERT ON {TABLE} BEGIN"
        f" {_BACKWARDS} FROM ({before}) WHERE life > NEW.life"
        " OR (life = NEW.life AND count > NEW.count);"
        f" {_BACKWARDS} FROM ({after}) WHERE life = NEW.life AND count < NEW.count; END",
        f"CREATE TRIGGER {TABLE}_order_update AFTER UPDATE OF life ON {TABLE}"
        " WHEN NEW.life <> OLD.life"
        f" BEGIN {_BACKWARDS} FROM ({before}) WHERE life = NEW.life"
        " AND count > NEW.count; END",
        f"CREATE TRIGGER {TABLE}_no_update BEFORE UPDATE OF machine_id, {dated},"
        f" {count.strip()}, batch_id{source} ON {TABLE} BEGIN {_STOP}",
        f"CREATE TRIGGER {TABLE}_no_delete BEFORE DELETE ON {TABLE}"  # noqa: S608
        f" WHEN NOT EXISTS ({taken_back})"
        " AND NOT EXISTS (SELECT 1 FROM count_refusals AS r WHERE r.machine_id ="
        f" OLD.machine_id{of_path} AND r.at = OLD.at AND r.reason = 'in_future') BEGIN {_STOP}",
    )


def _made_anew(*, named: bool) -> None:
    """Make the table anew: SQLite changes no key of a table that stands."""
    dated = [sa.Column("at", BIG, nullable=False)]
    more: list[sa.Column[int]] = []
    keys = [
        sa.ForeignKeyConstraint([f"{one}_id"], [f"{table}.id"], name=f"fk_{TABLE}_{one}_id")
        for one, table in (("machine", "machines"), ("run", "runs"), ("batch", "facts"))
    ]
    primary = ["machine_id", "at"]
    if named:
        path = sa.Column("path", sa.Integer(), server_default="0", nullable=False)
        dated.insert(0, path)
        more = [
            sa.Column("source_id", sa.Integer(), nullable=True),
            sa.Column("starts", sa.Integer(), server_default="0", nullable=False),
        ]
        keys.append(
            sa.ForeignKeyConstraint(
                ["source_id"], ["count_sources.id"], name=f"fk_{TABLE}_source_id"
            )
        )
        primary.insert(1, "path")
    op.create_table(
        f"{TABLE}_anew",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        *dated,
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("life", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        *more,
        sa.CheckConstraint("count >= 0", name=f"ck_{TABLE}_count_not_negative"),
        *keys,
        sa.PrimaryKeyConstraint(*primary, name=f"pk_{TABLE}"),
        sqlite_with_rowid=False,
    )
    columns = "machine_id, at, count, life, total, run_id, batch_id"
    # the older shape has one counter a machine: that of all paths
    only = "" if named else " WHERE path = 0"
    op.execute(
        f"INSERT INTO {TABLE}_anew ({columns}) SELECT {columns} FROM {TABLE}{only}"  # noqa: S608
    )
    op.execute(f"DROP TABLE {TABLE}")
    op.execute(f"ALTER TABLE {TABLE}_anew RENAME TO {TABLE}")
    for statement in _triggers(named=named):
        op.execute(statement)


def upgrade() -> None:
    op.create_table(
        "count_sources",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_count_sources_machine_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_count_sources"),
        sa.UniqueConstraint("machine_id", "source", name="uq_count_sources_key"),
    )
    for table in ("count_batches", "count_refusals"):
        op.add_column(
            table, sa.Column("path", sa.Integer(), server_default="0", nullable=False)
        )
    op.create_index("ix_count_refusals_when", "count_refusals", ["machine_id", "path", "at"])
    _made_anew(named=True)


def downgrade() -> None:
    _made_anew(named=False)
    op.drop_index("ix_count_refusals_when", "count_refusals")
    for table in ("count_batches", "count_refusals"):
        op.execute(f"ALTER TABLE {table} DROP COLUMN path")
    op.drop_table("count_sources")
