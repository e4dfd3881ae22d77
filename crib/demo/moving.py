"""The demo goes on while it serves: the same shop, a simulated minute per second."""

from __future__ import annotations

import logging
from datetime import datetime
from typing import Protocol

from crib.clock import Clock
from crib.demo.floor import step
from crib.demo.operators import report_now
from crib.demo.state import TICK, Shop
from crib.store.engine import Store

_LOG = logging.getLogger("crib.demo")

#: How often the shop looks at its clock [s].
_LOOK_S = 1.0


class Stop(Protocol):
    """An event, of this process or shared with others."""

    def wait(self, timeout: float, /) -> bool:
        """Wait up to ``timeout`` [s]; returns whether it is set."""


class Mover:
    """Continues a shop from the end of its history.

    Args:
        store: The database that ``crib.demo.history.build`` filled.
        shop: What it returned.
    """

    def __init__(self, store: Store, shop: Shop) -> None:
        self._store = store
        self._shop = shop

    @property
    def at(self) -> datetime:
        """Up to when everything is recorded."""
        return self._shop.at

    def go_on(self, until: datetime) -> int:
        """Record every step that ended by an instant, each in its own transaction.

        A visitor's records may conflict with those of the invented people. Refused entries
        are logged, and the rest goes on.

        Returns:
            How many facts and changes were written.
        """
        written = 0
        while self._shop.at + TICK <= until:
            step(self._shop)
            for machine in self._shop.machines.values():
                report_now(self._shop, machine, self._shop.at)
            with self._store.write() as tx:
                more, refused = self._shop.journal.write_around(tx)
            written += more
            for sentence in refused:
                _LOG.info("refused: %s", sentence)
        return written


def keep_moving(mover: Mover, stop: Stop, clock: Clock) -> None:
    """Go on by the clock until ``stop`` is set.

    Args:
        mover: The shop to continue.
        stop: Set to end.
        clock: Simulated now; the service has to go by the same.
    """
    while not stop.wait(_LOOK_S):
        mover.go_on(clock())
