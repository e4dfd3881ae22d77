"""The small shop's gauge, checked on its master wherever a test wants to measure on it."""

from __future__ import annotations

from datetime import datetime

from crib.acts.check_gauge import CheckGauge, check_gauge_on_master
from crib.acts.gauge_trust import gauge_problems
from crib.metrology.preset import Reading
from crib.store.engine import Tx
from crib.store.presets import gauge_row
from crib.store.resolve import resolve_gauge
from crib.units import TenthsUm

ON_MASTER = [Reading(TenthsUm(1_000_000 + k), TenthsUm(500_000 + k)) for k in (-1, 0, 1)]


def checked_gauge(tx: Tx, present: datetime, at: datetime | None = None) -> str:
    """The mark of a gauge whose presets count at an instant, checked then if need be."""
    instant = present if at is None else at
    if gauge_problems(tx, gauge_row(tx, resolve_gauge(tx, "PG-1").id), instant):
        command = CheckGauge("PG-1", ON_MASTER, at=instant)
        assert check_gauge_on_master(tx, present, command).valid
    return "PG-1"
