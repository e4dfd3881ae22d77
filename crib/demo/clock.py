"""A clock that runs faster than the world's, for a shop that is watched for minutes."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from crib.clock import parse_instant, print_instant
from crib.errors import Invalid


@dataclass(frozen=True, slots=True)
class DemoClock:
    """Simulated now: ``start`` when the world's clock said ``began``, then ``speed`` times.

    Attributes:
        start: Instant that the demo began at.
        speed: Simulated seconds per second.
        began: The world's clock then [s since 1970].
    """

    start: datetime
    speed: float = 60.0
    began: float = field(default_factory=time.time)

    def __call__(self) -> datetime:
        """The simulated instant, in UTC."""
        passed_s = max(time.time() - self.began, 0.0) * self.speed
        return self.start.astimezone(UTC) + timedelta(seconds=passed_s)

    def to_text(self) -> str:
        """The clock as text, so that other processes keep the same time."""
        return f"{print_instant(self.start)};{self.speed!r};{self.began!r}"

    @classmethod
    def from_text(cls, text: str) -> DemoClock:
        """The clock that ``to_text`` wrote.

        Raises:
            Invalid: The text is not of that form.
        """
        try:
            start, speed, began = text.split(";")
            return cls(parse_instant(start), float(speed), float(began))
        except ValueError as problem:
            raise Invalid(f"'{text[:60]}' sets no demo clock: START;SPEED;BEGAN.") from problem
