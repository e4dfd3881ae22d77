"""Holidays, one-off closures and extra shifts: when a calendar differs from its week."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.errors import Invalid
from crib.sentence import sentence

_LOCAL = re.compile(r"(\d{4}-\d\d-\d\d)(?:[Tt ](\d\d):(\d\d)(?::00)?)?", re.ASCII)
_DAY = timedelta(days=1)

#: Years in which a closure may lie; beyond them somebody mistyped.
_FIRST_YEAR, _LAST_YEAR = 1970, 2200


@dataclass(frozen=True, slots=True)
class Closure:
    """A time in which a calendar does not follow its week, in local wall time.

    A closed time takes the week's hours away. An extra shift is open whatever the week or a
    closed time says. A wall time that the clocks skip is read as if they had not been put
    forward yet; one that comes twice is the first of the two.

    Attributes:
        start: First minute, on the wall clock of the calendar's zone (naive).
        end: End, itself outside (naive).
        opens: Whether it is an extra shift.
        attended: Whether somebody is there in an extra shift.
        reason: Why, as the shop says it.
    """

    start: datetime
    end: datetime
    opens: bool = False
    attended: bool = False
    reason: str | None = None

    def __post_init__(self) -> None:
        if self.end <= self.start:
            raise Invalid(
                sentence("A closure ends before it starts."),
                errors=[{"field": "end", "detail": sentence("does not lie after start")}],
            )


def parse_local(text: str) -> str:
    """The canonical text of a wall time or of a whole day, as the shop wrote it.

    Raises:
        Invalid: Not one, or one with an offset: the calendar's zone says the offset.

    Examples:
        >>> parse_local("2026-12-24"), parse_local("2026-12-24 14:00")
        ('2026-12-24', '2026-12-24T14:00')
        >>> parse_local("2026-12-24T24:00")
        '2026-12-25T00:00'
    """
    stripped = text.strip()
    match = _LOCAL.fullmatch(stripped)
    if match is None:
        raise Invalid(
            sentence(
                "'{text}' is not a day or a local time: write it like 2026-12-24 or "
                "2026-12-24T14:00, without an offset.",
                text=text[:40],
            )
        )
    day, hour, minute = match.groups()
    try:
        at = datetime.fromisoformat(day)
    except ValueError as problem:
        raise Invalid(
            sentence("'{text}' is not a day: {problem}.", text=text[:40], problem=problem)
        ) from problem
    if not _FIRST_YEAR <= at.year <= _LAST_YEAR:
        raise Invalid(
            sentence(
                "'{text}' is not a plausible day: the year is {year}.",
                text=text[:40],
                year=at.year,
            )
        )
    if hour is None:
        return day
    minutes = int(hour) * 60 + int(minute)
    if int(minute) > 59 or minutes > 24 * 60:
        raise Invalid(
            sentence("'{text}' is not a time of day: use 00:00 up to 24:00.", text=text[:40])
        )
    return (at + timedelta(minutes=minutes)).isoformat(timespec="minutes")


def local_start(text: str) -> datetime:
    """Wall time at which a closure starts: of a whole day its midnight (naive)."""
    return datetime.fromisoformat(text)


def local_end(text: str) -> datetime:
    """Wall time at which a closure ends: of a whole day the midnight after it (naive).

    Examples:
        >>> local_end("2026-12-24").isoformat(), local_end("2026-12-24T14:00").isoformat()
        ('2026-12-25T00:00:00', '2026-12-24T14:00:00')
    """
    at = datetime.fromisoformat(text)
    return at + _DAY if len(text) == len("2026-12-24") else at


def closure_from_texts(
    start: str, end: str, kind: str, attended: bool | None, reason: str | None = None
) -> Closure:
    """A closure from the columns of a shop file (canonical texts of ``parse_local``).

    Raises:
        Invalid: It ends before it starts.
    """
    return Closure(
        local_start(start), local_end(end), kind == "open", bool(attended), reason or None
    )
