"""Rows of facts that can be undone on the page that confirms them, and of what undid them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam, text

from crib.clock import instant_from_us
from crib.store.engine import Tx

_TOUCHED = text(
    """
    SELECT f.id AS fact_id, f.kind, f.recorded_at, f.person_id, p.name AS person, l.code,
           h.holder, s.code AS station_code, k.machine, s.station,
           undone.id AS undone_by_id, undone.at AS undone_at
    FROM facts AS f
    LEFT JOIN people AS p ON p.id = f.person_id
    LEFT JOIN facts AS undone ON undone.reverses_id = f.id
    LEFT JOIN removals AS r ON r.fact_id = f.id
    LEFT JOIN corrections AS c ON c.fact_id = f.id
    LEFT JOIN teardowns AS t ON t.fact_id = f.id
    LEFT JOIN mounts AS m ON m.fact_id = coalesce(r.mount_id, c.mount_id, f.id)
    JOIN assemblies AS a ON a.fact_id = coalesce(m.assembly_id, t.assembly_id, f.id)
    JOIN holders AS h ON h.id = a.holder_id
    JOIN label_codes AS l ON l.assembly_id = a.fact_id AND l.superseded_at IS NULL
    LEFT JOIN stations AS s ON s.id = m.station_id
    LEFT JOIN machines AS k ON k.id = s.machine_id
    WHERE f.id IN :ids AND f.kind IN ('mount', 'removal', 'correction', 'build', 'teardown')
    ORDER BY f.id
    """
).bindparams(bindparam("ids", expanding=True))


@dataclass(frozen=True, slots=True)
class Touched:
    """A mount, removal, offset step, build or teardown, taken back or not.

    Attributes:
        fact_id: The fact.
        kind: Of the fact.
        recorded_at: When it was recorded.
        person_id: Who recorded it; None where not given.
        person: Their name.
        code: Current code of the tool.
        holder: Mark of its holder.
        station_code: Code of the station; None at the bench.
        machine: Its machine.
        station: Its name there.
        undone_by_id: The fact that took it back, if one did.
        undone_at: When that was.
    """

    fact_id: int
    kind: str
    recorded_at: datetime
    person_id: int | None
    person: str | None
    code: str
    holder: str
    station_code: str | None
    machine: str | None
    station: str | None
    undone_by_id: int | None
    undone_at: datetime | None


def touched(tx: Tx, fact_ids: Sequence[int]) -> tuple[Touched, ...]:
    """Facts of some numbers by ascending number; those of other kinds are left out."""
    found = []
    for row in tx.execute(_TOUCHED, {"ids": list(fact_ids)}):
        undone_at = None if row.undone_at is None else instant_from_us(row.undone_at)
        instants = {"recorded_at": instant_from_us(row.recorded_at), "undone_at": undone_at}
        found.append(Touched(**{**row._mapping, **instants}))
    return tuple(found)
