"""Retiring a record: refused while something that is still open names it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ColumnElement, TableClause, select, update

from crib.clock import us_from_instant
from crib.errors import ChangedMeanwhile, InUse, NotKnown
from crib.records.catalogue import CATALOGUE, RUNS
from crib.records.columns import Record
from crib.sentence import sentence, together, word
from crib.store.engine import Tx
from crib.store.record_rows import shape_of

# record -> what still uses it: a count by its id, and how a sentence says it
_OPEN: dict[str, tuple[tuple[str, str], ...]] = {
    "machines": (
        (
            "SELECT count(*) FROM station_state JOIN stations"
            " ON stations.id = station_state.station_id WHERE stations.machine_id = ?",
            sentence("mounted tools"),
        ),
    ),
    "stations": (
        ("SELECT count(*) FROM station_state WHERE station_id = ?", sentence("a mounted tool")),
    ),
    "holders": (
        (
            "SELECT count(*) FROM assembly_state WHERE holder_id = ? AND ended_at IS NULL",
            sentence("a built assembly"),
        ),
    ),
    "lots": (
        (
            "SELECT count(*) FROM assembly_state JOIN assemblies"
            " ON assemblies.fact_id = assembly_state.assembly_id"
            " WHERE assemblies.lot_id = ? AND ended_at IS NULL",
            sentence("built assemblies"),
        ),
    ),
    "tool_specs": (
        (
            "SELECT count(*) FROM assembly_state JOIN assemblies"
            " ON assemblies.fact_id = assembly_state.assembly_id"
            " WHERE assemblies.tool_spec_id = ? AND ended_at IS NULL",
            sentence("built assemblies"),
        ),
    ),
    "runs": (
        (
            "SELECT count(*) FROM runs WHERE id = ? AND state = 'running'",
            sentence("the machine"),
        ),
    ),
}


def retire_record(
    tx: Tx, record: Record, record_id: int, at: datetime, expected_version: int | None = None
) -> None:
    """Retire a record; it stays readable, and facts that name it keep their meaning.

    Runs that are done retire with their machine or part. Retiring twice changes nothing.

    Args:
        tx: A write transaction.
        record: Which record; not an owned one, whose owner is changed instead.
        record_id: Its id.
        at: When.
        expected_version: Version that the wish was based on, None to take any.

    Raises:
        NotKnown: There is none of that id.
        ChangedMeanwhile: It has another version by now.
        InUse: Something open still uses it: names how many of what.
    """
    bare = shape_of(record).bare
    row = tx.execute(
        select(bare.c.version, bare.c.retired_at).where(bare.c.id == record_id)
    ).first()
    if row is None:
        raise NotKnown(
            sentence(
                "There is no {noun} {record_id} here.",
                noun=word(record.noun),
                record_id=record_id,
            )
        )
    if expected_version is not None and row.version != expected_version:
        raise ChangedMeanwhile(
            sentence(
                "Somebody else changed this {noun} since you read it: read it again.",
                noun=word(record.noun),
            ),
            facts={"expected_version": expected_version, "version": row.version},
        )
    if row.retired_at is not None:
        return
    uses = [
        said
        for query, said in _OPEN.get(record.name, ())
        if tx.exec_driver_sql(query, (record_id,)).scalar_one()
    ] + _named_by(tx, record, record_id)
    if uses:
        raise InUse(
            sentence(
                "This {noun} is in use by {uses}: end or change those first.",
                noun=word(record.noun),
                uses=together(", ", uses),
            ),
            facts={"in_use_by": uses},
        )
    _retire(tx, bare, bare.c.id == record_id, at)
    if record.name in ("machines", "parts"):
        runs = shape_of(RUNS).bare
        link = runs.c.machine_id if record.name == "machines" else runs.c.part_id
        _retire(tx, runs, (link == record_id) & runs.c.retired_at.is_(None), at)


def _retire(tx: Tx, bare: TableClause, which: ColumnElement[bool], at: datetime) -> None:
    tx.execute(
        update(bare)
        .where(which)
        .values(retired_at=us_from_instant(at), version=bare.c.version + 1)
    )


def _named_by(tx: Tx, record: Record, record_id: int) -> list[str]:
    """Living records that refer to this one; an export without it would not import again."""
    found: list[str] = []
    for other in CATALOGUE:
        for column in other.columns:
            if column.reference != record.name or other.owner == record.name:
                continue
            number = tx.exec_driver_sql(
                _count_of(other, column.stored, column.many), (record_id,)
            ).scalar_one()
            if number:
                found.append(f"{number} {other.name.replace('_', ' ')}")
    return found


def _count_of(other: Record, stored: str, many: bool) -> str:
    if many:
        return (
            "SELECT count(*) FROM tool_spec_items JOIN tool_specs ON tool_specs.id ="
            " tool_spec_id WHERE tool_spec_items.cutting_item_id = ? AND retired_at IS NULL"
        )
    if other.owner:
        owner_link = next(c.stored for c in other.columns if c.reference == other.owner)
        return (
            f"SELECT count(*) FROM {other.name} JOIN {other.owner} ON {other.owner}.id ="  # noqa: S608
            f" {other.name}.{owner_link} WHERE {other.name}.{stored} = ?"
            f" AND {other.owner}.retired_at IS NULL"
        )
    done = " AND state <> 'done'" if other.name == "runs" else ""
    return (
        f"SELECT count(*) FROM {other.name}"  # noqa: S608 - our own names
        f" WHERE {stored} = ? AND retired_at IS NULL{done}"
    )
