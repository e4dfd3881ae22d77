"""Rows of signals that an edge broke in its station."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from crib.clock import instant_from_us, us_from_instant
from crib.store.engine import Tx

#: The first standing signal of each stay.
_STANDING = """
    SELECT b.mount_id, f.id, f.at, b.signal FROM breakages AS b
    JOIN facts AS f ON f.id = b.fact_id
    WHERE NOT EXISTS (SELECT 1 FROM facts AS x WHERE x.reverses_id = f.id)
"""


class Breakage(NamedTuple):
    """A signal that stands: its fact, when the edge broke, what said so."""

    fact_id: int
    at: datetime
    signal: str


def insert_breakage(tx: Tx, fact_id: int, mount_id: int, signal: str) -> None:
    """Write that the edge of a stay broke."""
    tx.exec_driver_sql(
        "INSERT INTO breakages (fact_id, mount_id, signal) VALUES (?, ?, ?)",
        (fact_id, mount_id, signal),
    )


def breakage_of(tx: Tx, mount_id: int) -> Breakage | None:
    """The first standing signal of a stay."""
    return breakages_of(tx, [mount_id]).get(mount_id)


def breakages_of(tx: Tx, mount_ids: Collection[int]) -> dict[int, Breakage]:
    """The first standing signal of each of some stays, by mount id."""
    found: dict[int, Breakage] = {}
    for mount_id in mount_ids:
        row = tx.exec_driver_sql(
            f"{_STANDING} AND b.mount_id = ? ORDER BY f.at, f.id LIMIT 1", (mount_id,)
        ).first()
        if row is not None:
            found[mount_id] = Breakage(int(row[1]), instant_from_us(row[2]), str(row[3]))
    return found


def taken_back_breakage(tx: Tx, mount_id: int, at: datetime, signal: str) -> int | None:
    """The fact of the very same signal that was taken back; None where there is none."""
    row = tx.exec_driver_sql(
        "SELECT max(f.id) FROM breakages AS b JOIN facts AS f ON f.id = b.fact_id"
        " JOIN facts AS x ON x.reverses_id = f.id"
        " WHERE b.mount_id = ? AND f.at = ? AND b.signal = ?",
        (mount_id, us_from_instant(at), signal),
    ).first()
    return None if row is None or row[0] is None else int(row[0])


def breakage_mount(tx: Tx, fact_id: int) -> int:
    """The stay that a signal was about, taken back or not."""
    return int(
        tx.exec_driver_sql(
            "SELECT mount_id FROM breakages WHERE fact_id = ?", (fact_id,)
        ).scalar_one()
    )
