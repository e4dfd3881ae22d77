"""The time zone that a shop's calendars name."""

from __future__ import annotations

from crib.store.engine import Tx

_ZONES = (
    "SELECT DISTINCT time_zone FROM calendars"
    " WHERE retired_at IS NULL AND coalesce(time_zone, '') <> ''"
)


def zone_of_calendars(tx: Tx) -> str | None:
    """The zone that all calendars with one name; None where they name none or several."""
    found = tx.exec_driver_sql(_ZONES).scalars().all()
    return str(found[0]) if len(found) == 1 else None
