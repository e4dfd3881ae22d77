"""Tables of the records, as the catalogue describes them, with named constraints."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeEngine

from crib.records.catalogue import CATALOGUE
from crib.records.columns import Column as RecordColumn
from crib.records.columns import Record
from crib.store.engines.chosen import WORDS
from crib.store.types import Instant, Whole

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_TYPES: dict[str, type[TypeEngine[Any]]] = {
    "text": String,
    "lines": String,
    "choice": String,
    "integer": Integer,
    "time": Integer,
    "local": String,
    "number": Float,
    "length": Whole,
    "money": Whole,
    "yes_no": Boolean,
    "instant": Instant,
    "date": Date,
}


def _record_column(column: RecordColumn, *, owner: str | None) -> Column[object]:
    if column.reference:
        return Column(
            column.stored,
            Integer,
            ForeignKey(
                f"{column.reference}.id",
                ondelete="CASCADE" if column.reference == owner else "RESTRICT",
            ),
            nullable=not column.required,
            index=True,
        )
    return Column(column.stored, _TYPES[column.kind], nullable=not column.required)


def _record_table(record: Record) -> Table:
    """One table per record: id, its columns, and what a resource needs (code, version)."""
    columns: list[Column[object]] = [Column("id", Integer, primary_key=True)]
    if record.code_kind:
        columns.append(Column("code", String, nullable=False, unique=True))
    columns += [
        _record_column(column, owner=record.owner)
        for column in record.columns
        if not column.many
        and not (record.name == "calendar_spans" and column.name == "time_zone")
    ]
    extra: list[Column[object] | CheckConstraint] = []
    if not record.owner:
        extra += [
            Column("version", Integer, nullable=False, server_default=text("1")),
            Column("retired_at", Instant),
        ]
    if record.name == "lots":  # what is left on the shelf; the ledger's sum, kept so that
        extra += [  # the database itself refuses to go below nothing
            Column("on_hand", Integer, nullable=False),
            CheckConstraint("on_hand >= 0", name="on_hand_not_negative"),
        ]
    key = [record.column(name).stored for name in record.key]
    nullable = any(not record.column(name).required for name in record.key)
    unique: list[UniqueConstraint] = []
    if not nullable:
        unique.append(UniqueConstraint(*key, name=f"uq_{record.name}_key"))
    table = Table(record.name, metadata, *columns, *extra, *unique)
    if nullable:  # an empty cell equals an empty cell, which a plain UNIQUE does not see
        parts = ", ".join(f"coalesce({name}, '')" for name in key)
        Index(f"uq_{record.name}_key", text(parts), unique=True, _table=table)
    return table


for _record in CATALOGUE:
    _record_table(_record)

tool_spec_items = Table(
    "tool_spec_items",
    metadata,
    Column("tool_spec_id", ForeignKey("tool_specs.id", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("cutting_item_id", ForeignKey("cutting_items.id"), nullable=False, index=True),
)

Index(
    "uq_runs_running",
    metadata.tables["runs"].c.machine_id,
    unique=True,
    **WORDS.only_where("state = 'running'"),
    postgresql_where=text("state = 'running'"),
)
