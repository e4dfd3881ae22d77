"""A night limit that only the swap of every edge that can be swapped keeps."""

from __future__ import annotations

from datetime import datetime

from crib.outlook.shop_plan import plan_shop
from crib.store.engine import Tx

#: Above what all swaps together leave, but by less than any of them is worth.
_ROOM = 1.01


def set_tight_limit(tx: Tx, machine: str, at: datetime) -> None:
    """Give a machine a limit for its next night that it only keeps with all of its swaps."""
    nights = plan_shop(tx, at).nights
    floor = next(one.floor for one in nights if (one.machine, one.ordinal) == (machine, 0))
    tx.exec_driver_sql(
        "UPDATE machines SET night_limit_percent = ? WHERE machine = ?",
        (100 * floor * _ROOM, machine),
    )
