"""The part count that a person read off the machine and gave with another fact."""

from __future__ import annotations

from datetime import datetime

from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.errors import Invalid
from crib.floor.refused import LARGEST
from crib.sentence import sentence
from crib.store.counts import counters_of
from crib.store.engine import Tx
from crib.store.stations import StationRow


def refuse_part_count(part_count: int | None) -> None:
    """Refuse a part count that no counter shows.

    Raises:
        Invalid: It is below zero or absurdly large.
    """
    if part_count is not None and not 0 <= part_count <= LARGEST:
        raise Invalid(
            sentence(
                "A part count of {part_count} is not plausible: look at the counter.",
                part_count=str(part_count)[:30],
            ),
            errors=[
                {
                    "field": "part_count",
                    "detail": sentence("from 0 to {largest}", largest=LARGEST),
                }
            ],
        )


def report_one(
    tx: Tx, present: datetime, station: StationRow, at: datetime, count: int, by: str | None
) -> str | None:
    """Take in the count that came with another fact; the sentence where it is refused.

    It is of the counter of the station's path, where that has one of its own.

    Args:
        tx: A write transaction.
        present: Now.
        station: The station that the fact is about.
        at: When the counter was read.
        count: What it said.
        by: Who says so.
    """
    path = (station.path or 1) if counters_of(tx, station.machine_id)[0] else None
    reading = CountReading(at, count, path=path)
    command = ReportCounts(station.machine, [reading], at=at, by=by)
    done = report_counts(tx, present, command)
    return done.refused[0].sentence if done.refused else None
