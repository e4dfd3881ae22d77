"""The one place that asks the time, and how instants are read and printed."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from crib.errors import Damaged, Invalid
from crib.sentence import Instant, sentence

Clock = Callable[[], datetime]

#: How far ahead of ours a reporting clock may run before a fact is refused.
CLOCK_TOLERANCE = timedelta(minutes=5)

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)

_INSTANT = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d{1,9})?)?([Zz]|[+-]([01]\d|2[0-3]):?[0-5]\d)",
    re.ASCII,
)


def now() -> datetime:
    """The present instant, aware, in UTC."""
    return datetime.now(UTC)


def us_from_instant(at: datetime) -> int:
    """Microseconds since 1970 of an aware instant; ValueError on a naive one."""
    if at.tzinfo is None:
        raise ValueError(f"naive time {at!r}")
    return (at - _EPOCH) // _MICROSECOND


def instant_from_us(at_us: int) -> datetime:
    """The aware UTC instant of microseconds since 1970.

    Raises:
        Damaged: They are no number, or beyond every calendar.
    """
    try:
        return _EPOCH + int(at_us) * _MICROSECOND
    except (OverflowError, TypeError, ValueError) as problem:
        raise Damaged(
            sentence(
                "A time in this record cannot be read. Run crib check: it names what is "
                "damaged."
            )
        ) from problem


def instant_or_none(at_us: int | None) -> datetime | None:
    """The same where there may be none."""
    return None if at_us is None else instant_from_us(at_us)


def readable_instant(at_us: int | None) -> datetime | None:
    """The same; None also of what is no instant or beyond every calendar, as where damaged.

    Examples:
        >>> readable_instant(0).isoformat(), readable_instant(2**62)
        ('1970-01-01T00:00:00+00:00', None)
    """
    try:
        return instant_or_none(at_us)
    except Damaged:
        return None


def parse_instant(text: str) -> datetime:
    """Read an RFC 3339 instant.

    Raises:
        Invalid: Not an instant, or one without an offset (a naive time is a guess).

    Examples:
        >>> parse_instant("2026-03-29T01:30:00+01:00").isoformat()
        '2026-03-29T00:30:00+00:00'
    """
    if not _INSTANT.fullmatch(text.strip()):
        raise Invalid(
            sentence(
                "'{text}' is not an instant: write it like 2026-03-29T01:30:00+01:00, "
                "with the offset.",
                text=text[:60],
            )
        )
    try:
        return datetime.fromisoformat(text.strip().upper()).astimezone(UTC)
    except (ValueError, OverflowError) as problem:
        raise Invalid(
            sentence("'{text}' is not an instant: {problem}.", text=text[:60], problem=problem)
        ) from problem


def print_instant(at: datetime) -> Instant:
    """Print an aware instant as RFC 3339 in UTC, without a needless fraction.

    Examples:
        >>> print_instant(parse_instant("2026-03-29T01:30:00+01:00"))
        '2026-03-29T00:30:00Z'
    """
    return Instant(at.astimezone(UTC).isoformat().replace("+00:00", "Z"))


def comes_twice(local: datetime) -> bool:
    """Whether the clocks of its zone show that time of that day twice: they go back then.

    Examples:
        >>> from zoneinfo import ZoneInfo
        >>> there = datetime(2026, 10, 25, 2, 30, tzinfo=ZoneInfo("Europe/Oslo"))
        >>> comes_twice(there), comes_twice(there + timedelta(hours=1))
        (True, False)
    """
    return local.replace(fold=1 - local.fold).utcoffset() != local.utcoffset()


def refuse_future(at: datetime, present: datetime, *, what: str = "at") -> None:
    """Refuse an instant further ahead than a clock that runs a little fast explains.

    Raises:
        Invalid: It lies further ahead.
    """
    if at > present + CLOCK_TOLERANCE:
        raise Invalid(
            sentence(
                "{at} lies in the future (it is {present}): check the clock that sent it.",
                at=print_instant(at),
                present=print_instant(present),
            ),
            errors=[
                {"field": what, "detail": sentence("lies more than 5 minutes in the future")}
            ],
        )


@dataclass(frozen=True, slots=True)
class FastClock:
    """A clock that may run faster than the world's, such as the demonstration's.

    It says ``start`` when the world's clock says ``began``, then runs ``speed`` times as fast.

    Attributes:
        start: Instant that it began at.
        speed: Simulated seconds per second.
        began: The world's clock then [s since 1970].
    """

    start: datetime
    speed: float = 60.0
    began: float = field(default_factory=time.time)

    def __call__(self) -> datetime:
        """Its instant, in UTC."""
        passed_s = max(time.time() - self.began, 0.0) * self.speed
        return self.start.astimezone(UTC) + timedelta(seconds=passed_s)

    def to_text(self) -> str:
        """The clock as text, so that other processes keep the same time."""
        return f"{print_instant(self.start)};{self.speed!r};{self.began!r}"

    @classmethod
    def from_text(cls, text: str) -> FastClock:
        """The clock that ``to_text`` wrote.

        Raises:
            Invalid: The text is not of that form.
        """
        try:
            start, speed, began = text.split(";")
            return cls(parse_instant(start), float(speed), float(began))
        except ValueError as problem:
            raise Invalid(
                sentence(
                    "'{text}' does not set a clock: write START;SPEED;BEGAN.", text=text[:60]
                )
            ) from problem
