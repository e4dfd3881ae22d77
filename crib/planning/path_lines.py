"""Which counts charge an edge: those of its path's own counter, else those of the machine."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from crib.arrays import Ints

#: Instants, ascending; cumulative parts at each; id of the run named, 0 for none.
Line = tuple[Ints, Ints, Ints]


def main_path(counted: Collection[int], told: Collection[int]) -> int:
    """The path whose parts are the machine's, for a part is finished once; 0 for no path's.

    Args:
        counted: Paths that have a counter of their own by the machine's record.
        told: Paths whose counter sent something so far.
    """
    return min(counted, default=min(told, default=0))


def line_of_path(whole: Line, own: Line, *, counted: bool) -> Line:
    """The counts of a path: the machine's until its own counter sent something, then its own.

    Nothing is known to have been made between the last count of one counter and the first of
    the other.

    Args:
        whole: What the counter for all paths said.
        own: What the path's counter said.
        counted: Whether the record still gives the path a counter; else the machine's goes on
            after the last count of the path's.
    """
    if not own[0].size:
        return whole
    before = int(np.searchsorted(whole[0], own[0][0], side="left"))
    after = whole[0].size
    if not counted:
        after = int(np.searchsorted(whole[0], own[0][-1], side="right"))
    base = int(whole[1][before - 1]) if before else 0
    told = own[1] - own[1][0] + base
    rest = whole[1][after:]
    if rest.size:
        rest = rest - rest[0] + told[-1]
    return (
        np.concatenate([whole[0][:before], own[0], whole[0][after:]]),
        np.concatenate([whole[1][:before], told, rest]),
        np.concatenate([whole[2][:before], own[2], whole[2][after:]]),
    )
