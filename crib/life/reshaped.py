"""Life curves changed by what is known of one edge, or by how far they can be trusted."""

from __future__ import annotations

from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.curves import GRID, Curves
from crib.life.looks import LooksTaken

_LEAST: Final = 1e-300


def tilted(curves: Curves, row: Ints, looks: LooksTaken, shared: float) -> Curves:
    """Curves of edges that were looked at: Bayes on the grid.

    The density of ln life is multiplied by the likelihood of the look. A look that nothing
    bears out widens the answer rather than ruling it: a small share of looks counts as wrong.

    Args:
        curves: Curves of the keys.
        row: Row of each edge, shape (edges,).
        looks: The look at each.
        shared: Deviation of ln life that all looks may have wrong in common.

    Returns:
        One row per edge.
    """
    centre, hazard = curves.centre[row], np.exp(np.minimum(curves.log_hazard[row], 700.0))
    alive = np.exp(-hazard)
    step = alive[:, :-1] * -np.expm1(-np.diff(hazard, axis=1))
    middle = centre[:, None] + (GRID[:-1] + GRID[1:]) / 2
    # At the peak the likelihood is 1 at most, or tiny shares of the mass would be lost.
    log_l = looks.of_edges(middle, shared)
    log_l -= log_l.max(axis=1, keepdims=True)
    likely = np.exp(log_l)
    mass = step * likely
    # Before the first node and beyond the last as at these.
    before = -np.expm1(-hazard[:, :1]) * likely[:, :1]
    after = alive[:, -1:] * likely[:, -1:]
    beyond = np.cumsum(np.concatenate([after, mass[:, ::-1]], axis=1), axis=1)[:, ::-1]
    total = beyond[:, :1] + before
    # Early on the share dead is exact, late the share alive.
    dead = np.cumsum(np.concatenate([before, mass], axis=1), axis=1) / total
    left = np.maximum(beyond / total, _LEAST)
    new = np.where(dead < 0.5, -np.log1p(-np.minimum(dead, 0.5)), -np.log(left))
    return Curves(centre, np.log(np.maximum(new, _LEAST)))


def stretched(curves: Curves, factor: Floats) -> Curves:
    """Curves spread out about their median in ln life by a factor, shape (keys,)."""
    rows = np.flatnonzero(factor != 1.0)
    if not len(rows):
        return curves
    target = np.log(np.log(2.0))
    log_hazard = curves.log_hazard.copy()
    for row in rows:
        old = curves.log_hazard[row]
        # ln H rises, so the median is one point of the table.
        at = float(np.interp(target, old, GRID))
        nodes = at + (GRID - at) / factor[row]
        log_hazard[row] = np.interp(nodes, GRID, old)
        low, high = nodes < GRID[0], nodes > GRID[-1]
        if low.any() or high.any():
            first = (old[1] - old[0]) / (GRID[1] - GRID[0])
            last = (old[-1] - old[-2]) / (GRID[-1] - GRID[-2])
            log_hazard[row, low] = old[0] + first * (nodes[low] - GRID[0])
            log_hazard[row, high] = old[-1] + last * (nodes[high] - GRID[-1])
    return Curves(curves.centre, log_hazard)
