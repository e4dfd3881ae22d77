"""Rows of questions about tools that a person answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from crib.clock import readable_instant, us_from_instant
from crib.store.engine import Tx

_STANDS = "NOT EXISTS (SELECT 1 FROM facts AS x WHERE x.reverses_id = d.fact_id)"
_STANDING = f"""
    SELECT d.station_id, d.path, d.tool_number, d.asset, d.mount_id, max(d.since)
    FROM question_dismissals AS d WHERE {_STANDS} AND d.station_id IS NOT NULL
    GROUP BY d.station_id, d.path, d.tool_number, d.asset, d.mount_id
"""  # noqa: S608 - our own words alone
_LAST = f"""
    SELECT d.fact_id, m.machine || coalesce('/' || s.station, ''), s.code, d.asset, d.since,
           f.at, p.name, f.note
    FROM question_dismissals AS d
    JOIN facts AS f ON f.id = d.fact_id
    LEFT JOIN stations AS s ON s.id = d.station_id
    LEFT JOIN breakage_answers AS a ON a.fact_id = d.fact_id
    LEFT JOIN breakage_doubts AS b ON b.id = a.doubt_id
    JOIN machines AS m ON m.id = coalesce(s.machine_id, b.machine_id)
    LEFT JOIN people AS p ON p.id = f.person_id
    WHERE {_STANDS} ORDER BY d.fact_id DESC LIMIT ?
"""  # noqa: S608


class Sighting(NamedTuple):
    """A tool that a machine names in a station, beside what is on record there; or a breakage.

    Attributes:
        station_id: The station; None of a breakage.
        path: Path of the control, as the machine calls it.
        tool_number: The number under which the machine calls the tool, if it has one.
        asset: What it calls the tool, or the breakage.
        mount_id: The stay on record in that station; None where it is empty.
    """

    station_id: int | None
    path: str
    tool_number: int | None
    asset: str
    mount_id: int | None


@dataclass(frozen=True, slots=True)
class Dismissed:
    """A question that was dismissed, as a page shows it.

    Attributes:
        fact_id: The dismissal.
        station: MACHINE/STATION; the machine alone of a breakage.
        station_code: The station's code; None of a breakage.
        says: What the machine calls the tool, or the breakage.
        since: Since when it says so; None where that cannot be read, here and in ``at``.
        at: When the question was dismissed.
        by: Name of who did.
        note: Why.
    """

    fact_id: int
    station: str
    station_code: str | None
    says: str
    since: datetime | None
    at: datetime | None
    by: str | None
    note: str | None


def insert_dismissal(tx: Tx, fact_id: int, sighting: Sighting, since: datetime) -> None:
    """Write that a question was dismissed."""
    tx.exec_driver_sql(
        "INSERT INTO question_dismissals"
        " (fact_id, station_id, path, tool_number, asset, mount_id, since)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        (fact_id, *sighting, us_from_instant(since)),
    )


def standing_dismissals(tx: Tx) -> dict[Sighting, datetime]:
    """Since when the machine had named each tool about which nobody is asked any more."""
    rows = tx.exec_driver_sql(_STANDING)
    found = {Sighting(*row[:5]): readable_instant(row[5]) for row in rows}
    # one whose instant cannot be read dismisses nothing: it is asked again
    return {sighting: since for sighting, since in found.items() if since is not None}


def last_dismissals(tx: Tx, limit: int = 50) -> list[Dismissed]:
    """Dismissals that stand, the last one first."""
    return [
        Dismissed(
            fact_id,
            station,
            code,
            says,
            readable_instant(since),
            readable_instant(at),
            by,
            note,
        )
        for fact_id, station, code, says, since, at, by, note in tx.exec_driver_sql(
            _LAST, (limit,)
        )
    ]


def dismissed_station(tx: Tx, fact_id: int) -> str:
    """MACHINE/STATION that a dismissal was about, taken back or not."""
    return str(
        tx.exec_driver_sql(
            "SELECT m.machine || '/' || s.station FROM question_dismissals AS d"
            " JOIN stations AS s ON s.id = d.station_id"
            " JOIN machines AS m ON m.id = s.machine_id WHERE d.fact_id = ?",
            (fact_id,),
        ).scalar_one()
    )
