"""When a machine's observations really came to be, where its clock was set back.

An agent numbers its observations. What comes later by number came later in time, whatever the
machine's clock says. Where an instant lies before the one that was booked of the same item, the
clock went back: from there on the time that it lacks is added, until the clock is past what was
booked. A time without an offset is the site's; of an hour that comes twice, the numbers say
which one is meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, tzinfo

from crib.clock import CLOCK_TOLERANCE, instant_from_us, us_from_instant
from crib.feed.documents import Observation
from crib.sentence import figure, sentence

_HOUR_US = 3_600_000_000
_AHEAD_US = CLOCK_TOLERANCE // timedelta(microseconds=1)
#: Read within this time after it came to be, an observation says itself how late the clock is.
_LIVE_US = 900_000_000
#: A clock that was set back by more is spoken of [µs].
_TOLD_US = 60_000_000


@dataclass(frozen=True, slots=True)
class MachineTime:
    """What is known of a machine's clock, up to some observation.

    Attributes:
        lacks_us: What is added to its clock [µs].
        booked: When the last observation of each item came to be, as booked [µs], and its text.
        zone: Zone of times without an offset.
        local: Whether any came without.
    """

    lacks_us: int = 0
    booked: Mapping[str, tuple[int, str | None]] = field(default_factory=dict)
    zone: tzinfo = UTC
    local: bool = False

    @property
    def problem(self) -> str | None:
        """What a person has to know of its clock; None where nothing."""
        if self.local:
            return sentence(
                "The agent's times have no offset from UTC: they are taken as {zone} time.",
                zone=self.zone,
            )
        if self.lacks_us >= _TOLD_US:
            return sentence(
                "The machine's clock was set back by {lacks_us} min: its counts are "
                "dated by their order. Set the clock right.",
                lacks_us=figure(self.lacks_us / 60000000.0, ".0f"),
            )
        return None

    def dated(
        self, observations: Iterable[Observation], items: frozenset[str], heard_at: datetime
    ) -> tuple[tuple[Observation, ...], MachineTime]:
        """Observations with the instants at which they came to be, and what is known then.

        Args:
            observations: New ones, by their numbers.
            items: Ids of the items whose own order proves that the clock went back.
            heard_at: When they were read.
        """
        clock = _Clock(self, us_from_instant(heard_at))
        told = [(one, clock.instants(one)) for one in observations]
        ends = _ends(told)
        found = tuple(
            clock.dated(one, said, end if one.item_id in items else None)
            for (one, said), end in zip(told, ends, strict=True)
        )
        return found, MachineTime(clock.lacks, clock.booked, self.zone, clock.local)


class _Clock:
    def __init__(self, known: MachineTime, heard_us: int) -> None:
        self.lacks, self.booked = known.lacks_us, dict(known.booked)
        self.local, self._zone = known.local, known.zone
        self._heard = heard_us

    def dated(self, one: Observation, said: list[int], end: int | None) -> Observation:
        """An observation when it came to be; ``end`` is what the clock reached after it."""
        at_us = self._beside(said[0]) if end is None else self._at(one, said, end)
        if at_us == us_from_instant(one.at):
            return one
        return replace(one, at=instant_from_us(at_us))

    def instants(self, one: Observation) -> list[int]:
        """What its time can mean [µs], the earlier one first."""
        if not one.local:
            return [us_from_instant(one.at)]
        self.local = True
        wall = one.at.replace(tzinfo=self._zone)
        both = {us_from_instant(wall.replace(fold=fold)) for fold in (0, 1)}
        return sorted(both) if _comes_twice(wall) else [us_from_instant(wall)]

    def _beside(self, at_us: int) -> int:
        moved = at_us + self.lacks
        return moved if moved <= self._heard + _AHEAD_US else at_us

    def _at(self, one: Observation, said: list[int], end: int) -> int:
        last, text = self.booked.get(one.item_id, (None, None))
        ahead = last is not None and last > self._heard + _AHEAD_US
        if last is None or (ahead and not self.lacks):
            # what a fast clock dated ahead is kept aside: nothing follows from it
            at_us = self._beside(said[0])
        else:
            # another value is another instant; the same one may be repeated
            at_us = self._from(last if one.text == text else last + 1, said, end)
        self.booked[one.item_id] = (at_us, one.text)
        return at_us

    def _from(self, least: int, said: list[int], end: int) -> int:
        """An instant that is no earlier than ``least``."""
        for at_us in said:
            if at_us >= least:
                self.lacks = 0
                return at_us
        at_us = said[-1]
        if at_us + self.lacks < least:
            self.lacks = self._missing(at_us, least, end)
        moved = at_us + self.lacks
        if moved > self._heard:
            # too much was added: half of each pause is left out, which no machine outruns
            moved = max(least + (moved - least) // 2, min(moved, self._heard))
        if moved > self._heard + _AHEAD_US:
            moved = least  # it was set right again
        self.lacks = moved - at_us
        return moved

    def _missing(self, at_us: int, from_us: int, end: int) -> int:
        """By how much the clock was set back [µs]."""
        least, most = from_us - at_us, self._heard - end
        hours = -(-least // _HOUR_US) * _HOUR_US
        if hours <= most + 60_000_000:
            return hours
        return most if 0 <= most - least <= _LIVE_US else least


def _ends(told: Sequence[tuple[Observation, list[int]]]) -> list[int]:
    """How far the clock came after each observation, until it was set back again [µs]."""
    ends, after = [], dict[str, tuple[int, int]]()
    for one, said in reversed(told):
        at_us = said[-1]
        following, end = after.get(one.item_id, (at_us, at_us))
        end = end if following >= at_us else at_us
        after[one.item_id] = at_us, end
        ends.append(end)
    return ends[::-1]


def _comes_twice(wall: datetime) -> bool:
    early, late = (wall.replace(fold=fold).utcoffset() for fold in (0, 1))
    return early is not None and late is not None and early > late
