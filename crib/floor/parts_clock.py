"""Parts to clock time and back, exactly, over the hours that a machine is open."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import accumulate

from crib.clock import instant_from_us
from crib.errors import Invalid
from crib.floor.calendar import Stretch
from crib.floor.timeline import us_of
from crib.sentence import figure, sentence

#: Shares are counted in millionths and cycles in microseconds, so that nothing is rounded
#: on the way: parts to an instant and back are the same parts.
_MILLION = 1_000_000

LEAST_CYCLE_S = 0.001
MOST_SHARE = 2.0


@dataclass(frozen=True, slots=True)
class WorkedStretch:
    """What a machine does of a job in one stretch.

    Attributes:
        start_at: Begin of the stretch, or of the job.
        end_at: End of the stretch, or of the job.
        attended: Whether somebody is there.
        open_min: Open time in it [min].
        cutting_min: Time cut in it, the running share counted [min].
        parts: Parts that are finished in it.
    """

    start_at: datetime
    end_at: datetime
    attended: bool
    open_min: float
    cutting_min: float
    parts: int


class PartsClock:
    """Counts the parts of one job over the stretches in which its machine is open.

    Args:
        stretches: Open stretches in order, disjoint; the job begins with the first.
        cycle_s: Cutting time of one part [s], at least a millisecond; counted in whole µs.
        attended_share: Seconds of cutting per open second while somebody is there, 0 to 2.
        unattended_share: The same while nobody is.

    Raises:
        Invalid: A cycle or a share that cannot be; ``errors`` names it.
    """

    __slots__ = ("_before", "_cycle", "_share", "_start", "stretches")

    def __init__(
        self,
        stretches: Sequence[Stretch],
        cycle_s: float,
        attended_share: float = 1.0,
        unattended_share: float = 1.0,
    ) -> None:
        if not LEAST_CYCLE_S <= cycle_s < 1e9:
            raise _wrong("cycle_s", sentence("A cycle lasts at least a millisecond."))
        shares = []
        for name, share in (
            ("unattended_share", unattended_share),
            ("attended_share", attended_share),
        ):
            if not 0 <= share <= MOST_SHARE:
                raise _wrong(
                    name,
                    sentence(
                        "A running share lies from 0 to {most_share}.",
                        most_share=figure(MOST_SHARE, "g"),
                    ),
                )
            shares.append(round(share * _MILLION))
        self.stretches = tuple(stretches)
        self._cycle = round(cycle_s * _MILLION) * _MILLION
        self._start = [us_of(one.start_at) for one in self.stretches]
        self._share = [shares[one.attended] for one in self.stretches]
        cut = [
            (us_of(one.end_at) - start) * share
            for one, start, share in zip(self.stretches, self._start, self._share, strict=True)
        ]
        self._before = list(accumulate(cut, initial=0))

    @property
    def parts(self) -> int:
        """Whole parts that the stretches have room for."""
        return self._before[-1] // self._cycle

    def finish(self, parts: int) -> datetime | None:
        """The first instant at which so many parts are made; None beyond the stretches.

        Args:
            parts: Whole parts, one or more.

        Raises:
            Invalid: Fewer than one part.
        """
        if parts < 1:
            raise _wrong("parts", sentence("A job has at least one part."))
        wanted = parts * self._cycle
        place = bisect_left(self._before, wanted) - 1
        if place >= len(self.stretches):
            return None
        inside = -(-(wanted - self._before[place]) // self._share[place])
        return instant_from_us(self._start[place] + inside)

    def parts_by(self, at: datetime) -> int:
        """Whole parts made by an instant; 0 before the first stretch."""
        return self._cut_by(at) // self._cycle

    def worked(self, until: datetime) -> list[WorkedStretch]:
        """What is done in each stretch that begins before an instant, cut there."""
        rows = []
        for place, one in enumerate(self.stretches):
            if one.start_at >= until:
                break
            end_at = min(one.end_at, until)
            length_us = us_of(end_at) - self._start[place]
            before = self._before[place]
            after = before + length_us * self._share[place]
            rows.append(
                WorkedStretch(
                    one.start_at,
                    end_at,
                    one.attended,
                    length_us / 60e6,
                    (after - before) / (60e6 * _MILLION),
                    after // self._cycle - before // self._cycle,
                )
            )
        return rows

    def _cut_by(self, at: datetime) -> int:
        at_us = us_of(at)
        place = bisect_right(self._start, at_us) - 1
        if place < 0:
            return 0
        most = self._before[place + 1]
        return min(
            self._before[place] + (at_us - self._start[place]) * self._share[place], most
        )


def _wrong(field: str, sentence: str) -> Invalid:
    return Invalid(sentence, errors=[{"field": field, "detail": sentence}])
