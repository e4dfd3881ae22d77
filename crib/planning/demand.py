"""What a machine will make, run after run, and how that wears the edge in each station."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats, Ints
from crib.planning.ahead import TimeAhead


@dataclass(frozen=True, slots=True)
class RunAhead:
    """A run that is on the machine or will be.

    Attributes:
        part: Name of the part.
        parts: Parts still to make, infinite for a run without end; a run that should be done
            by now (0) stays the one that the next part is of.
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
        points_s: A leading 0 and ``end_s`` as plain numbers, for the lines of many stations.
        steps: Run and parts of each segment, same shape.
    """

    end_s: Floats
    parts: Floats
    run: Ints
    points_s: tuple[float, ...] = field(init=False, repr=False, compare=False)
    steps: tuple[tuple[int, float], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        steps = zip(self.run.tolist(), self.parts.tolist(), strict=True)
        object.__setattr__(self, "points_s", (0.0, *self.end_s.tolist()))
        object.__setattr__(self, "steps", tuple(steps))

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
    """How the machine's plan wears the edge in one station: a line through few points.

    Looked up one number at a time, tens of thousands of lines in a plan: plain tuples and
    bisection beat arrays here.

    Attributes:
        end_s: Running second at the end of each segment, a leading 0; segments + 1 numbers.
        wear: Wear put on by then, same shape.
    """

    end_s: tuple[float, ...]
    wear: tuple[float, ...]

    def at(self, seconds: float) -> float:
        """Wear put on by a running second."""
        index = bisect_left(self.end_s, seconds)
        if index == 0:
            return 0.0
        if index == len(self.end_s):
            return self.wear[-1]
        before, after = self.end_s[index - 1], self.end_s[index]
        share = (seconds - before) / (after - before)
        return self.wear[index - 1] + share * (self.wear[index] - self.wear[index - 1])

    def seconds_until(self, wear: float) -> float:
        """Running seconds until so much wear is put on; infinite where the plan ends before."""
        if wear <= 0:
            return 0.0
        index = bisect_left(self.wear, wear)
        if index == len(self.wear):
            return math.inf
        before, after = self.wear[index - 1], self.wear[index]
        share = (wear - before) / (after - before)
        return self.end_s[index - 1] + share * (self.end_s[index] - self.end_s[index - 1])


def wear_ahead(segments: Segments, per_part: Sequence[float]) -> WearAhead:
    """The wear line of one station.

    Args:
        segments: The machine's plan.
        per_part: Wear of one part of each run, 0 where the run leaves the station idle,
            shape (runs,).
    """
    put_on = accumulate(
        [parts * per_part[run] if run >= 0 else 0.0 for run, parts in segments.steps],
        initial=0.0,
    )
    return WearAhead(segments.points_s, tuple(put_on))
