"""What an import must know of the database: the names that live there, what facts rest on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from crib.records.catalogue import BY_NAME
from crib.records.columns import Record
from crib.store.engine import Tx


def living_names(tx: Tx, record: str) -> dict[str, object]:
    """Names of a record that are not retired, each with its kind where it has one."""
    described = BY_NAME[record]
    name = described.key[0]
    has_kind = any(column.name == "kind" for column in described.columns)
    rows = tx.exec_driver_sql(
        f"SELECT {name}, {'kind' if has_kind else 'NULL'} FROM {record}"  # noqa: S608 - our names
        " WHERE retired_at IS NULL"
    )
    return {str(row[0]): row[1] for row in rows}


class PlannedTool(NamedTuple):
    """A tool that a part's program calls, and what its holder type is."""

    part: str
    tool_number: int
    path: int
    tool_spec: str
    holder_type: str
    interface: str | None
    kind: str | None


class Place(NamedTuple):
    """A station, and what it takes."""

    machine: str
    station: str
    tool_number: int
    path: int
    interface: str | None
    kind: str | None


def planned_tools(tx: Tx) -> list[PlannedTool]:
    """Every tool that a part calls, once, by part and tool number."""
    rows = tx.exec_driver_sql(
        "SELECT DISTINCT p.part, o.tool_number, coalesce(o.path, 1) AS path, s.tool_spec,"
        " t.holder_type, t.interface, t.kind FROM operations o"
        " JOIN parts p ON p.id = o.part_id JOIN tool_specs s ON s.id = o.tool_spec_id"
        " JOIN holder_types t ON t.id = s.holder_type_id"
        " WHERE p.retired_at IS NULL ORDER BY p.part, 3, 2, s.tool_spec"
    )
    return [PlannedTool(**row._mapping) for row in rows]


def places(tx: Tx) -> list[Place]:
    """Every station in use."""
    rows = tx.exec_driver_sql(
        "SELECT m.machine, s.station, s.tool_number, coalesce(s.path, 1) AS path,"
        " s.interface, s.kind"
        " FROM stations s JOIN machines m ON m.id = s.machine_id"
        " WHERE s.retired_at IS NULL AND m.retired_at IS NULL ORDER BY m.machine, s.station"
    )
    return [Place(**row._mapping) for row in rows]


def machines_of_parts(tx: Tx) -> dict[str, set[str]]:
    """Machines on which a part runs or is to run."""
    found: dict[str, set[str]] = {}
    rows = tx.exec_driver_sql(
        "SELECT p.part, m.machine FROM runs r JOIN parts p ON p.id = r.part_id"
        " JOIN machines m ON m.id = r.machine_id"
        " WHERE r.retired_at IS NULL AND r.state <> 'done' AND m.retired_at IS NULL"
    )
    for part, machine in rows:
        found.setdefault(part, set()).add(machine)
    return found


def used_items(tx: Tx) -> dict[str, tuple[str, int, int]]:
    """Cutting items whose edges were used: kind, highest edge, highest number of regrinds."""
    rows = tx.exec_driver_sql(
        "SELECT i.cutting_item, i.kind, max(u.edge), u.grind, p.grinds"
        " FROM edge_uses u JOIN pieces p ON p.id = u.piece_id JOIN lots l ON l.id = p.lot_id"
        " JOIN cutting_items i ON i.id = l.cutting_item_id GROUP BY i.id, u.grind, p.grinds"
    )
    used: dict[str, tuple[str, int, int]] = {}
    for name, kind, edge, grind, grinds in rows:
        _, before, ground = used.get(name, (kind, 0, 0))
        used[name] = (kind, max(edge, before), max(grind, grinds, ground))
    return used


def opened_lots(tx: Tx) -> dict[str, str]:
    """Lots out of which assemblies were built, each with its cutting item."""
    rows = tx.exec_driver_sql(
        "SELECT l.lot, i.cutting_item FROM lots l JOIN cutting_items i"
        " ON i.id = l.cutting_item_id"
        " WHERE EXISTS (SELECT 1 FROM assemblies a WHERE a.lot_id = l.id)"
    )
    return {row[0]: row[1] for row in rows}


def taken_of_lots(tx: Tx) -> dict[str, int]:
    """Lots of which pieces were taken, each with how many."""
    rows = tx.exec_driver_sql(
        "SELECT lot, quantity - on_hand FROM lots WHERE quantity > on_hand"
    )
    return {row[0]: int(row[1]) for row in rows}


def built_holders(tx: Tx) -> dict[str, str]:
    """Holders that are part of an assembly now, each with its holder type."""
    rows = tx.exec_driver_sql(
        "SELECT h.holder, t.holder_type FROM assembly_state s"
        " JOIN holders h ON h.id = s.holder_id JOIN holder_types t ON t.id = h.holder_type_id"
        " WHERE s.ended_at IS NULL"
    )
    return {row[0]: row[1] for row in rows}


def built_specs(tx: Tx) -> dict[str, str]:
    """Tool specs to which assemblies are built now, each with its holder type."""
    rows = tx.exec_driver_sql(
        "SELECT DISTINCT q.tool_spec, t.holder_type FROM assembly_state s"
        " JOIN assemblies a ON a.fact_id = s.assembly_id"
        " JOIN tool_specs q ON q.id = a.tool_spec_id"
        " JOIN holder_types t ON t.id = q.holder_type_id WHERE s.ended_at IS NULL"
    )
    return {row[0]: row[1] for row in rows}


def count_rows(tx: Tx, record: Record) -> int:
    """Rows of a record's table."""
    return int(
        tx.exec_driver_sql(f"SELECT count(*) FROM {record.name}").scalar_one()  # noqa: S608
    )


def delete_owned(tx: Tx, record: Record, rows: Iterable[tuple[int, str]]) -> int:
    """Delete rows of an owned set; each owner's version counts up once.

    Args:
        tx: A write transaction.
        record: An owned record (operations, calendar_spans): no fact names its rows.
        rows: Id of a row and name of its owner.

    Returns:
        How many were deleted.
    """
    doomed = list(rows)
    if not doomed or record.owner is None:
        return 0
    tx.exec_driver_sql(
        f"DELETE FROM {record.name} WHERE id = ?",  # noqa: S608 - our names
        [(number,) for number, _ in doomed],
    )
    tx.exec_driver_sql(
        f"UPDATE {record.owner} SET version = version + 1"  # noqa: S608 - our names
        f" WHERE {BY_NAME[record.owner].key[0]} = ?",
        [(owner,) for owner in sorted({owner for _, owner in doomed})],
    )
    return len(doomed)
