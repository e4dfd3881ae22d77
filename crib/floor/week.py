"""A shop's week as it is written down: weekdays, wall clock times, spans."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from crib.errors import Invalid
from crib.sentence import sentence, together

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_MIN = 1440

_CLOCK = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)", re.ASCII)


@dataclass(frozen=True, slots=True)
class WeekSpan:
    """One span of every week, in local wall time.

    Args:
        weekday: 0 = Monday … 6 = Sunday, of the start.
        start_min: Minutes after local midnight, 0 to 1439.
        end_min: Minutes after the same midnight, after the start, at most a week later.
        attended: Whether somebody is there.
    """

    weekday: int
    start_min: int
    end_min: int
    attended: bool

    def __post_init__(self) -> None:
        if not 0 <= self.weekday <= 6:
            raise Invalid(
                sentence(
                    "Weekday {weekday} is not one of 0 (Monday) to 6 (Sunday).",
                    weekday=self.weekday,
                )
            )
        if not 0 <= self.start_min < DAY_MIN:
            raise Invalid(sentence("A span starts between 00:00 and 23:59."))
        if not self.start_min < self.end_min <= self.start_min + 7 * DAY_MIN:
            raise Invalid(sentence("A span ends after its start and at most a week later."))


def parse_clock(text: str) -> int:
    """Minutes after midnight of a wall clock time, 00:00 to 24:00.

    Raises:
        Invalid: Not such a time.

    Examples:
        >>> parse_clock("06:00"), parse_clock("24:00")
        (360, 1440)
    """
    match = _CLOCK.fullmatch(text.strip())
    minutes = int(match[1]) * 60 + int(match[2]) if match else DAY_MIN + 1
    if minutes > DAY_MIN:
        raise Invalid(
            sentence(
                "'{text}' is not a time of day: write it like 06:00, up to 24:00.",
                text=text[:20],
            )
        )
    return minutes


def print_clock(minutes: int) -> str:
    """A wall clock time as the shop files write it; past midnight it starts again.

    Examples:
        >>> print_clock(360), print_clock(1440), print_clock(1800)
        ('06:00', '24:00', '06:00')
    """
    hours, rest = divmod(minutes if minutes <= DAY_MIN else minutes % DAY_MIN, 60)
    return f"{hours:02d}:{rest:02d}"


def week_span(weekday: str, start: str, end: str, attended: bool) -> WeekSpan:
    """A span from the columns of a calendar; an end not after the start is the next day's.

    Raises:
        Invalid: An unknown weekday or time.

    Examples:
        >>> week_span("fri", "22:00", "06:00", False)
        WeekSpan(weekday=4, start_min=1320, end_min=1800, attended=False)
    """
    day = weekday.strip().lower()
    if day not in WEEKDAYS:
        raise Invalid(
            sentence(
                "'{weekday}' is not a weekday: use {weekdays}.",
                weekday=weekday[:20],
                weekdays=together(", ", WEEKDAYS),
            )
        )
    start_min, end_min = parse_clock(start), parse_clock(end)
    if start_min == DAY_MIN:
        raise Invalid(sentence("A span cannot start at 24:00: start the next day at 00:00."))
    return WeekSpan(
        WEEKDAYS.index(day),
        start_min,
        end_min if end_min > start_min else end_min + DAY_MIN,
        attended,
    )


def spans_from_rows(rows: Sequence[tuple[str, str, str, bool]]) -> tuple[WeekSpan, ...]:
    """Spans from (weekday, start, end, attended) rows of one calendar.

    Raises:
        Invalid: An unknown weekday or time.
    """
    return tuple(week_span(*row) for row in rows)
