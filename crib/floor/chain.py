"""Which readings of a counter can all be true together: the longest plausible chain."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from crib.arrays import Bools, Ints
from crib.floor.line import Line

#: Readings searched on each side of a contradiction before the search is widened.
_MARGIN = 64

#: Farthest that the search looks back from one reading.
_REACH = 256

_Can = Callable[[Ints, Ints], Bools]


def longest_plausible(line: Line, trusted: Bools) -> Bools:
    """Which readings to keep so that no step is faster than the machine can cut.

    Trusted readings are always kept, and a step between neighbours that are both trusted is
    not questioned. Of the others as many as possible are kept. Where nothing contradicts,
    this is one vectorised pass; a search runs only around contradictions.

    Args:
        line: The readings, shape (readings,); the cycle time is infinite where trusted.
        trusted: Readings accepted before.

    Returns:
        Mask, shape (readings,).
    """

    def can(left: Ints, right: Ints) -> Bools:
        step = line.between(left, right)
        return np.asarray(step.plausible | (trusted[left] & trusted[right]))

    size = line.at_us.size
    keep = np.ones(size, dtype=np.bool_)
    places = np.arange(size)
    bad = np.flatnonzero(~can(places[:-1], places[1:]))
    for low, high, inside in _segments(bad, np.flatnonzero(trusted), size):
        # Over the whole segment there is always a chain: the last margin never fails.
        for margin in (_MARGIN, 8 * _MARGIN, size):
            if _mend(keep, low, high, inside, margin, can):
                break
    return keep


def _segments(bad: Ints, anchors: Ints, size: int) -> Iterator[tuple[int, int, Ints]]:
    """Contradictions by the trusted readings around them; -1 and size stand for none."""
    group = np.searchsorted(anchors, bad, side="right")
    for number in np.unique(group):
        low = int(anchors[number - 1]) if number > 0 else -1
        high = int(anchors[number]) if number < anchors.size else size
        yield low, high, bad[group == number]


def _mend(keep: Bools, low: int, high: int, bad: Ints, margin: int, can: _Can) -> bool:
    """Drop the fewest readings of a segment; False where the margin is too small for it."""
    first, last = max(low, 0), min(high, keep.size - 1)
    keep[first : last + 1] = True
    cuts = np.flatnonzero(np.diff(bad) > 2 * margin + 1) + 1
    for cluster in np.split(bad, cuts):
        start = max(first, int(cluster[0]) - margin)
        end = min(last, int(cluster[-1]) + 1 + margin)
        window = np.arange(start, end + 1)
        chosen = _chain(window, start > first or low >= 0, end < last or high < keep.size, can)
        if chosen is None:
            return False
        keep[window] = chosen
    return True


def _chain(window: Ints, start_forced: bool, end_forced: bool, can: _Can) -> Bools | None:
    """Longest chain through the window by dynamic programming; None if there is none.

    Never None over a whole segment: two trusted ends can always follow each other.
    """
    n = window.size
    best = np.full(n, -1, dtype=np.int64)
    back = np.full(n, -1, dtype=np.int64)
    best[0] = 1
    top = 0
    for k in range(1, n):
        low = max(0, k - _REACH)
        tried = np.arange(low, k)
        if low:
            top = low - 1 if best[low - 1] > best[top] else top
            tried = np.concatenate([np.unique([0, top]), tried])
        tried = tried[best[tried] > 0]
        fits = tried[can(window[tried], np.full(tried.size, window[k]))]
        if fits.size:
            back[k] = fits[np.flatnonzero(best[fits] == best[fits].max())[-1]]
            best[k] = best[back[k]] + 1
        elif not start_forced:
            best[k] = 1
    end = n - 1 if end_forced else int(np.argmax(best))
    if best[end] < 0:
        return None
    chosen = np.zeros(n, dtype=np.bool_)
    while end >= 0:
        chosen[end] = True
        end = int(back[end])
    return chosen
