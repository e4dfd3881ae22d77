"""Counts that charge what sits on a path of a machine, and those that are the machine's."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from crib.clock import instant_from_us
from crib.planning.path_lines import line_of_path, main_path
from crib.store.counts import (
    Counted,
    ReadingsAround,
    counters_of,
    totals_around,
)
from crib.store.engine import Tx

_LAST_PART = """
    WITH own AS (SELECT at, total FROM count_readings WHERE machine_id = ?1 AND path = ?2),
    before AS (SELECT at FROM own WHERE total < (SELECT total FROM own ORDER BY at DESC LIMIT 1)
               ORDER BY at DESC LIMIT 1)
    SELECT min(own.at) FROM own, before WHERE own.at > before.at
"""
_NEXT_PATH = "SELECT min(path) FROM count_readings WHERE machine_id = ? AND path > ?"


def paths_with_counts(tx: Tx, machine_id: int) -> list[int]:
    """Paths of a machine whose own counter sent something, ascending."""
    found: list[int] = []
    after: Any = 0
    while (
        path := tx.exec_driver_sql(_NEXT_PATH, (machine_id, after)).scalar_one()
    ) is not None:
        if isinstance(path, int):  # a damaged reading is no path's
            found.append(path)
        after = path
    return found


def main_counter(tx: Tx, machine_id: int) -> Counted:
    """The counter whose parts are those that the machine made."""
    return Counted(
        machine_id, main_path(counters_of(tx, machine_id)[0], paths_with_counts(tx, machine_id))
    )


def last_part_at(tx: Tx, machine_id: int) -> datetime | None:
    """When a machine's last part was counted; None where its counter never went up."""
    counter = main_counter(tx, machine_id)
    found = tx.exec_driver_sql(_LAST_PART, tuple(counter)).scalar_one()
    return None if found is None else instant_from_us(found)


def charges_around(
    tx: Tx, machine_id: int, path: int | None, first_us: int, last_us: int
) -> ReadingsAround:
    """What charges a path, from one reading before an instant to one after another.

    Args:
        tx: An open transaction.
        machine_id: The machine.
        path: The path; None for the parts that the machine made.
        first_us: The first instant [µs].
        last_us: The last instant [µs].
    """
    counted, told = counters_of(tx, machine_id)[0], paths_with_counts(tx, machine_id)
    if path is None or (path not in counted and path not in told):
        path = main_path(counted, told)
    whole = totals_around(tx, Counted(machine_id), first_us, last_us)
    if not path:
        return whole
    own = totals_around(tx, Counted(machine_id, path), first_us, last_us)
    return ReadingsAround(*line_of_path(whole, own, counted=path in counted))
