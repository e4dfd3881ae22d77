"""Stops that a machine makes anyway: bar changes, shift starts, changeovers.

A swap made at one of them takes fewer minutes of the machine than one that stops it for itself.
The minutes are common practice, no source; a swap's own minutes come on top everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.planning.attended import JUST_AFTER_S
from crib.planning.due import MachineAhead
from crib.sentence import sentence

#: Kinds of stops; arrays hold their place in this list.
KINDS: Final = ("own", "bar_change", "shift_start", "changeover", "tool_swap")
OWN, BAR_CHANGE, SHIFT_START, CHANGEOVER, TOOL_SWAP = range(5)

#: Minutes that stopping costs beside the swap itself, by kind: for a stop of its own the walk,
#: the wait for the end of the cycle, the restart and the look at the next part.
STOP_MINUTES: Final = (5.0, 3.0, 3.0, 0.0, 0.0)

#: In words, as the end of "brought forward to …".
IN_WORDS: Final = (
    sentence("a stop of its own"),
    sentence("a bar change"),
    sentence("the start of a shift"),
    sentence("the changeover"),
    sentence("the swap of another tool"),
)


@dataclass(frozen=True, slots=True)
class Bar:
    """How a run uses up bars.

    Attributes:
        parts: Parts per bar, 1 or more.
        made: Parts made of the bar in the machine; None where that is not known.
    """

    parts: int
    made: float | None = None

    @property
    def left(self) -> float:
        """Parts until the bar runs out: expected half a bar where nothing is known."""
        if self.made is None:
            return self.parts / 2
        left = self.parts - math.fmod(self.made, self.parts)
        return left if left > 0 else float(self.parts)


@dataclass(frozen=True, slots=True)
class Stops:
    """Stops of one machine in attended time, in order.

    Attributes:
        seconds: Running seconds from now, shape (stops,).
        kind: Places in ``KINDS``, same shape.
    """

    seconds: Floats
    kind: Ints

    def minutes(self) -> Floats:
        """Minutes that a swap costs there beside its own, shape (stops,)."""
        return np.asarray(STOP_MINUTES)[self.kind]


NO_STOPS: Final = Stops(np.empty(0), np.empty(0, dtype=np.int64))


def stops_ahead(
    machine: MachineAhead,
    bars: Sequence[Bar | None],
    shift_starts_s: Sequence[float],
    until_s: float,
) -> Stops:
    """The stops that a machine makes anyway up to a running second.

    Args:
        machine: Its time and work ahead.
        bars: Of each run ahead; None where it is not made from bar or lengths are missing.
        shift_starts_s: Running seconds at which attended shifts start.
        until_s: How far to look.
    """
    found: list[tuple[float, int]] = [
        (second + JUST_AFTER_S, SHIFT_START) for second in shift_starts_s if second > 0
    ]
    begin, before = 0.0, -1
    for (run, parts), end in zip(
        machine.segments.steps, machine.segments.points_s[1:], strict=True
    ):
        if begin > until_s:
            break
        if run >= 0:
            if 0 <= before != run:
                found.append((begin, CHANGEOVER))
            before = run
            bar = bars[run] if run < len(bars) else None
            if bar is not None and parts > 0:
                per_s = parts / (end - begin)
                wanted = min(parts, (until_s - begin) * per_s)
                at = begin + np.arange(bar.left, wanted, bar.parts) / per_s
                found.extend((second, BAR_CHANGE) for second in at.tolist())
        begin = end
    kept = [
        (second, kind)
        for second, kind in found
        if second <= until_s and not machine.time.last_attended(second)[1]
    ]
    if not kept:
        return NO_STOPS
    kept.sort()
    seconds, kinds = zip(*kept, strict=True)
    return Stops(np.array(seconds, dtype=np.float64), np.array(kinds, dtype=np.int64))
