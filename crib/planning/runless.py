"""Parts that belong to no run: how many, and between which instants they were made."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from crib.arrays import Floats
from crib.planning.output import NO_RUN, MachineOutput

#: Less than a part is left of an increment that a run's start or end splits.
_A_PART = 1 - 1e-6


@dataclass(frozen=True, slots=True)
class Runless:
    """Parts made while no run was on.

    Attributes:
        parts: How many.
        begin_us: The reading before the first of them: a run that starts here has them all.
        end_us: The reading that counts the last of them.
    """

    parts: int
    begin_us: int
    end_us: int


def runless_parts(output: MachineOutput) -> list[Runless]:
    """Stretches of time in which a machine made parts for no run, the oldest first."""
    found: list[Runless] = []
    if output.at_us.size < 2:
        return found
    for first, last in pairwise(output.corners.tolist()):
        if output.run[last] != NO_RUN:
            continue
        total = output.total[first : last + 1]
        made = float(total[-1] - total[0])
        if made < _A_PART:
            continue
        begin, end = _span(total)
        found.append(
            Runless(
                int(np.floor(made + 1e-6)),
                int(output.at_us[first + begin]),
                int(output.at_us[first + end]),
            )
        )
    return found


def runless_total(output: MachineOutput) -> float:
    """Parts in all that belong to no run."""
    corners = output.corners
    if output.at_us.size < 2:
        return 0.0
    steps = np.diff(output.total[corners])
    return float(steps[output.run[corners[1:]] == NO_RUN].sum())


def _span(total: Floats) -> tuple[int, int]:
    """Places of the last point before the first part and of the first point with the last."""
    begin = int(np.searchsorted(total, total[0], side="right")) - 1
    end = int(np.searchsorted(total, total[-1], side="left"))
    return begin, end
