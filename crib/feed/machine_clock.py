"""How far the times that a machine tells are off: compared with when they were read."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from crib.acts.book_feed import CLOCK_OFF

_RIGHT = timedelta(0)


class MachineClock:
    """Watches the times of one machine.

    A time ahead of ours is off for sure. One behind may only be late: it counts where nothing
    could be late, and twice in a row, since an adapter that comes back tells old times once.
    """

    def __init__(self) -> None:
        self._behind = 0

    def look(
        self, told: Iterable[datetime], heard_at: datetime, live_since: datetime | None
    ) -> timedelta | None:
        """How far the newest of some times is off, ahead above 0; None where not known.

        Args:
            told: Times that were read now.
            heard_at: When.
            live_since: What was read now came to be after this; None where it may be older.
        """
        newest = max(told, default=None)
        if newest is None:
            return None
        off = newest - heard_at
        if off > CLOCK_OFF:
            self._behind = 0
            return off
        if live_since is None or newest >= live_since - CLOCK_OFF:
            self._behind = 0
            return _RIGHT if off >= -CLOCK_OFF or live_since is not None else None
        self._behind += 1
        return off if self._behind > 1 else None
