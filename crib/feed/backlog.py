"""Whether what a broker kept for us may have been cut short: its queues are not without end."""

from __future__ import annotations

from datetime import datetime, timedelta

#: A broker that brings so many messages at once may have dropped others: from memory, the least
#: that one keeps by default (most keep 1,000). A broker does not say what it dropped.
LEAST_QUEUE = 100
#: Messages further apart than this are no longer those that were kept.
_AT_ONCE = timedelta(seconds=2)


class Backlog:
    """Counts what a broker brings of the time in which nobody was there."""

    def __init__(self) -> None:
        self._since: datetime | None = None
        self._last: datetime | None = None
        self._number = 0

    def begin(self, at: datetime, *, counted: bool) -> None:
        """The broker let us in.

        Args:
            at: Now.
            counted: Whether we were there before, and it kept what came since.
        """
        self._since = self._last = at if counted else None
        self._number = 0

    @property
    def is_over(self) -> bool:
        """Whether what comes now was not kept for us."""
        return self._since is None

    def may_be_cut(self, heard_at: datetime, at: datetime | None) -> bool:
        """Take one message; whether it shows, once, that kept messages may have been dropped.

        Args:
            heard_at: When it came.
            at: When it was made, by itself; None where it does not tell.
        """
        if self._since is None or self._last is None:
            return False
        made_since = at is not None and self._since <= at < heard_at
        if made_since or heard_at - self._last > _AT_ONCE:
            self._since = None
            return False
        self._last, self._number = heard_at, self._number + 1
        if self._number < LEAST_QUEUE:
            return False
        self._since = None
        return True
