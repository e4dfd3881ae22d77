"""Rows of machine stops."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import insert

from crib.store.engine import Tx
from crib.store.tables import stops

_INSERT = insert(stops)


def insert_stop(
    tx: Tx, fact_id: int, machine_id: int, ends_at: datetime | None, reason: str
) -> None:
    """Write a stop of a machine."""
    tx.execute(
        _INSERT,
        {"fact_id": fact_id, "machine_id": machine_id, "ends_at": ends_at, "reason": reason},
    )
