"""The age at which a planned swap costs least, for keys and for single edges.

Keys: age replacement (Barlow & Proschan 1965). An edge of which more is known than its key
goes by the same rule at its own odds: it is kept while the cost that its failure adds per wear
unit, ``hazard (cf - cp)``, is below the cost rate of the edges to come.
"""

from __future__ import annotations

import numpy as np

from crib.arrays import Floats
from crib.life.curves import Curves, Edges
from crib.life.replacement import GridSwap, least_cost_on_grid

_STEPS = 96


def least_cost(
    curves: Curves, edges: Edges, planned: Floats, failure: Floats, latest: Floats | None
) -> GridSwap:
    """Best age of new edges; their age is not looked at.

    Args:
        curves: Curves of the edges.
        edges: Their rows and breakage.
        planned: Cost of a planned swap, shape (edges,), in any one currency.
        failure: Cost of a failure, in the same, same shape.
        latest: Age beyond which none may go, same shape [wear units]; None: no such age.

    Returns:
        Age, cost per wear unit and share that fails first, shape (edges,) each.
    """
    ages = curves.ages()[edges.row]
    return least_cost_on_grid(
        ages, _hazard_with_breaks(curves, edges, ages), planned, failure, latest
    )


def best_by_own_odds(
    curves: Curves,
    edges: Edges,
    planned: Floats,
    failure: Floats,
    rate: Floats,
    alive_at: Floats,
) -> GridSwap:
    """Best age of single edges against the cost rate of the edges to come.

    Args:
        curves: Curves of the edges.
        edges: Their rows and breakage.
        planned: Cost of a planned swap, shape (edges,), in any one currency.
        failure: Cost of a failure, in the same, same shape.
        rate: Cost per wear unit of the key's edges at their best age, same shape.
        alive_at: Age at which each was last seen alive, same shape [wear units]; no earlier age
            is of use.
    """
    ages = curves.ages()[edges.row]
    hazard = _hazard_with_breaks(curves, edges, ages)
    alive = np.exp(-hazard)
    first = ages[:, :1] * (1 + alive[:, :1]) / 2
    steps = np.diff(ages, axis=1) * (alive[:, 1:] + alive[:, :-1]) / 2
    use = np.cumsum(np.concatenate([first, steps], axis=1), axis=1)
    worth = (failure - planned)[:, None] * -np.expm1(-hazard) - rate[:, None] * use
    past = ages < alive_at[:, None]
    past[:, -1] = False
    best = np.argmin(np.where(past, np.inf, worth), axis=1)
    rows = np.arange(len(ages))
    return GridSwap(ages[rows, best], rate, -np.expm1(-hazard[rows, best]))


def cost_of_waiting(
    curves: Curves, edges: Edges, ahead: Floats, extra: Floats, rate: Floats
) -> Floats:
    """Expected cost above the best of swapping edges some wear units from now.

    ``W(x) = extra F(x | age) - rate E[use | age, x]``, less its least value over x: what an
    edge costs beyond its use at the rate of the edges to come.

    Args:
        curves: Curves of the edges.
        edges: Their rows, ages and breakage, shape (edges,).
        ahead: Wear units from now, shape (edges, columns).
        extra: What a failure costs over a planned swap, shape (edges,).
        rate: Cost per wear unit of the edges to come, shape (edges,).

    Returns:
        Cost from 0 up, shape (edges, columns).
    """
    far = np.exp(curves.centre[edges.row]) * 3 + ahead.max(axis=1, initial=0.0)
    # Finer near now, where most is decided.
    way = far[:, None] * np.linspace(0, 1, _STEPS + 1) ** 2
    hazard = edges.repeated(_STEPS + 1).hazard_ahead(curves, way.reshape(-1)).reshape(way.shape)
    alive = np.exp(-hazard)
    steps = np.diff(way, axis=1) * (alive[:, 1:] + alive[:, :-1]) / 2
    use = np.concatenate([np.zeros((len(way), 1)), np.cumsum(steps, axis=1)], axis=1)
    worth = extra[:, None] * -np.expm1(-hazard) - rate[:, None] * use
    least = worth.min(axis=1)
    place = np.sqrt(ahead / far[:, None]) * _STEPS
    node = np.minimum(place.astype(np.int64), _STEPS - 1)
    rows = np.arange(len(way))[:, None]
    low, high = way[rows, node], way[rows, node + 1]
    share = (ahead - low) / np.maximum(high - low, 1e-300)
    at = worth[rows, node] + share * (worth[rows, node + 1] - worth[rows, node])
    result: Floats = np.maximum(at - least[:, None], 0.0)
    return result


def _hazard_with_breaks(curves: Curves, edges: Edges, ages: Floats) -> Floats:
    wear = np.exp(np.minimum(curves.log_hazard[edges.row], 700.0))
    result: Floats = wear + edges.breaks_ahead(ages)
    return result
