"""How many parts a running run still makes, and how many of them are made but not yet counted.

Both change by a bounded number with each part and each second, so that no verdict flips when a
count comes a little late: not at the last part, and not when a machine falls silent.
"""

from __future__ import annotations

from dataclasses import dataclass

#: A run past its quantity goes on for so many times the parts that it is past it, at most, in
#: 95 of 100 cases: what has lasted for e lasts more than x longer with chance e / (e + x).
#: Source: Gott 1993, Nature 363, p. 315 (quoted from memory).
GOES_ON = 19.0

#: A machine whose last count is not older than this is taken to have run on since.
SILENCE_S = 1_800.0


@dataclass(frozen=True, slots=True)
class RestOfRun:
    """What a running run has ahead.

    Attributes:
        left: Parts that it still makes; 0 where they should all be made by now.
        untold: Parts made since the last count, never more than were left then.
    """

    left: float
    untold: float

    @property
    def is_counted(self) -> bool:
        """Whether every part of the run has been counted."""
        return self.left + self.untold <= 0


def rest_of_run(quantity: float, made: float, since_s: float, cycle_s: float) -> RestOfRun:
    """The parts that a running run still makes.

    Args:
        quantity: Parts ordered.
        made: Parts counted.
        since_s: Cutting seconds since the last count (``believed_s``).
        cycle_s: Seconds of one part.
    """
    over = made - quantity
    left = over * GOES_ON if over > 0 else -over
    untold = min(since_s / cycle_s, left)
    return RestOfRun(left - untold, untold)


def believed_s(quiet_s: float) -> float:
    """Seconds that a machine is taken to have run since its last count.

    All of them for half an hour. The longer it stays silent after that, the likelier it stands:
    the figure goes back to 0 at the same pace.

    Args:
        quiet_s: Open seconds since that count.
    """
    return max(min(quiet_s, 2 * SILENCE_S - quiet_s), 0.0)
