"""The bench's attended hours as one line of work time: forwards, backwards, and how much."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from crib.errors import Invalid
from crib.floor.calendar import HORIZON, WorkCalendar
from crib.sentence import sentence

#: How far back the last possible start of work that is late already is looked for.
LOOK_BACK = timedelta(days=60)

_US = timedelta(microseconds=1)
_NEVER = datetime.max.replace(tzinfo=UTC)


class BenchHours:
    """Attended spans of the bench around an instant; work pauses between them.

    Work is counted in whole microseconds of attended time from the instant ``origin_at``:
    ``work_until`` and ``instant_after`` turn an instant into that count and back, each in
    O(log spans).

    Args:
        spans: Attended spans, disjoint and in order.
        origin_at: Where the count is 0.

    Raises:
        Invalid: Spans that overlap, are empty or out of order.
    """

    __slots__ = ("_before", "_end", "_origin", "_start", "origin_at")

    def __init__(self, spans: Iterable[tuple[datetime, datetime]], origin_at: datetime) -> None:
        self.origin_at = origin_at
        self._start: list[datetime] = []
        self._end: list[datetime] = []
        self._before: list[int] = []
        total = 0
        for start_at, end_at in spans:
            if end_at <= start_at or (self._end and start_at < self._end[-1]):
                raise Invalid(sentence("Attended spans must be disjoint and in order."))
            self._start.append(start_at)
            self._end.append(end_at)
            self._before.append(total)
            total += (end_at - start_at) // _US
        self._before.append(total)
        self._origin = 0
        self._origin = self.work_until(origin_at)

    @classmethod
    def of(cls, calendar: WorkCalendar, now_at: datetime) -> BenchHours:
        """The attended hours of a calendar, 60 days back to 306 days ahead of now."""
        first = now_at - LOOK_BACK
        stretches = calendar.stretches(first, first + HORIZON)
        return cls(((s.start_at, s.end_at) for s in stretches if s.attended), now_at)

    def finish(self, at: datetime, minutes: float) -> datetime:
        """When so much bench work is done that starts at an instant; far future if never."""
        work = round(minutes * 60_000_000)
        place = bisect_right(self._start, at) - 1
        if place >= 0 and (at_once := at + timedelta(microseconds=work)) <= self._end[place]:
            return at_once  # all of it fits into the span that is open then
        end_at = self.instant_after(self.work_until(at) + work)
        return _NEVER if end_at is None else max(at, end_at)

    def work_until(self, at: datetime) -> int:
        """Attended time from the origin to an instant [µs]; negative before it."""
        place = bisect_right(self._start, at) - 1
        if place < 0:
            return -self._origin
        inside = min(at, self._end[place]) - self._start[place]
        return self._before[place] + inside // _US - self._origin

    def instant_after(self, work: int) -> datetime | None:
        """The first instant at which so much attended time [µs] has passed; None beyond."""
        wanted = work + self._origin
        place = bisect_left(self._before, wanted) - 1
        if wanted < 0 or place >= len(self._start):
            return None
        if place < 0:
            return self._start[0] if self._start else None
        return self._start[place] + (wanted - self._before[place]) * _US

    def instant_of_start(self, work: int) -> datetime | None:
        """The last instant from which work beyond that count [µs] can begin; None beyond.

        It differs from ``instant_after`` at the end of a span: work that begins there begins
        with the next span.
        """
        wanted = work + self._origin
        place = bisect_right(self._before, wanted) - 1
        if wanted < 0 or place >= len(self._start):
            return None
        return self._start[place] + (wanted - self._before[place]) * _US
