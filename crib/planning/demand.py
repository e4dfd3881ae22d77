"""What a machine will make, run after run, and how that wears the edge in each station."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crib.planning.ahead import TimeAhead

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RunAhead:
    """A run that is on the machine or will be.

    Attributes:
        part: Name of the part.
        parts: Parts still to make; infinite where the run goes on until told otherwise.
        seconds_per_part: Running seconds per part, waiting and small stops included.
        start_us: Earliest start of a planned run [µs], None for as soon as possible.
    """

    part: str
    parts: float
    seconds_per_part: float
    start_us: int | None = None


@dataclass(frozen=True, slots=True)
class Segments:
    """A machine's time ahead cut where the part changes.

    Attributes:
        end_s: Running second at which each segment ends, ascending, shape (segments,).
        parts: Parts made in each, shape (segments,); 0 where the machine waits.
        run: Index of the run in each, -1 where the machine waits.
    """

    end_s: Floats
    parts: Floats
    run: NDArray[np.int64]

    @property
    def length_s(self) -> float:
        """Running seconds planned in all."""
        return float(self.end_s[-1]) if self.end_s.size else 0.0

    def parts_at(self, seconds: ArrayLike) -> Floats:
        """Parts made by running seconds (linear within a segment)."""
        points = np.concatenate([[0.0], self.end_s])
        made = np.concatenate([[0.0], np.cumsum(self.parts)])
        reached: Floats = np.interp(np.asarray(seconds, dtype=np.float64), points, made)
        return reached


def plan_segments(timeline: TimeAhead, runs: Sequence[RunAhead]) -> Segments:
    """Lay the runs one after the other over the machine's running time.

    Args:
        timeline: The machine's running time ahead.
        runs: In the order in which they will run; the first is the running one, if any.
    """
    end_s: list[float] = []
    parts: list[float] = []
    index: list[int] = []
    cursor = 0.0
    for number, run in enumerate(runs):
        if run.start_us is not None:
            begin = timeline.seconds_at(run.start_us)
            if begin > cursor:
                end_s.append(begin)
                parts.append(0.0)
                index.append(-1)
                cursor = begin
        if cursor >= timeline.length_s:
            break
        end = min(cursor + run.parts * run.seconds_per_part, timeline.length_s)
        end_s.append(end)
        parts.append((end - cursor) / run.seconds_per_part)
        index.append(number)
        cursor = end
    return Segments(
        np.array(end_s, dtype=np.float64),
        np.array(parts, dtype=np.float64),
        np.array(index, dtype=np.int64),
    )


@dataclass(frozen=True, slots=True)
class WearAhead:
    """How the machine's plan wears the edge in one station.

    Attributes:
        end_s: Running second at the end of each segment, a leading 0, shape (segments + 1,).
        wear: Wear put on by then, shape (segments + 1,).
    """

    end_s: Floats
    wear: Floats

    def at(self, seconds: ArrayLike) -> Floats:
        """Wear put on by running seconds."""
        put_on: Floats = np.interp(np.asarray(seconds, dtype=np.float64), self.end_s, self.wear)
        return put_on

    def seconds_until(self, wear: ArrayLike) -> Floats:
        """Running seconds until so much wear is put on; infinite where the plan ends before."""
        wanted = np.asarray(wear, dtype=np.float64)
        index = np.searchsorted(self.wear, wanted, side="left")
        last = self.wear.size - 1
        upper = np.clip(index, 1, last) if last else np.zeros_like(index)
        if not last:
            return np.where(wanted <= 0, 0.0, np.inf)
        lower = upper - 1
        rise = self.wear[upper] - self.wear[lower]
        share = np.where(rise > 0, (wanted - self.wear[lower]) / np.where(rise > 0, rise, 1), 0)
        seconds = self.end_s[lower] + share * (self.end_s[upper] - self.end_s[lower])
        return np.where(wanted <= 0, 0.0, np.where(index > last, np.inf, seconds))


def wear_ahead(segments: Segments, per_part: Sequence[float]) -> WearAhead:
    """The wear line of one station.

    Args:
        segments: The machine's plan.
        per_part: Wear of one part of each run, 0 where the run leaves the station idle,
            shape (runs,).
    """
    weights = np.append(np.asarray(per_part, dtype=np.float64), 0.0)[segments.run]
    return WearAhead(
        np.concatenate([[0.0], segments.end_s]),
        np.concatenate([[0.0], np.cumsum(segments.parts * weights)]),
    )
