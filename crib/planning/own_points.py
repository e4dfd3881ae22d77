"""Where each mounted edge by itself would come out: age of least cost, or the size limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.model import LifeModel
from crib.life.observations import SIZE_SEEN
from crib.planning.due import EdgesDue, MountedEdge, signs_of
from crib.planning.moving_cost import MovingCost, moving_cost
from crib.planning.swaps import (
    COST,
    MOST_FAIL,
    PAST,
    RUN_ENDS_FIRST,
    RUN_TO_FAILURE,
    SIZE_LIMIT,
)
from crib.planning.wear_lines import WearLines


@dataclass(frozen=True, slots=True)
class OwnPoints:
    """Where each edge by itself would come out, arrays of shape (edges,).

    Attributes:
        best_age: Age of least cost of a new edge [wear units].
        cost_rate: Cost per wear unit there.
        mounted_best: Age of least cost of the mounted edge, by what was seen of it.
        failing: Share of such edges that fail before it.
        seconds: Running second of the mounted edge's own point; infinite where never.
        age: Its age then.
        why: Place in ``WHYS``.
        size_sets: Whether size corrections set it.
        size_parts: Parts until the wear limit as they tell it; infinite where they do not.
        to_failure: Whether new edges are run until they fail.
    """

    best_age: Floats
    cost_rate: Floats
    mounted_best: Floats
    failing: Floats
    seconds: Floats
    age: Floats
    why: Ints
    size_sets: Bools
    size_parts: Floats
    to_failure: Bools


def own_points(
    edges: Sequence[MountedEdge], due: EdgesDue, model: LifeModel, lines: WearLines
) -> tuple[OwnPoints, MovingCost]:
    """Where each edge by itself would come out: age replacement, then the size limit.

    Source: Barlow & Proschan 1965, on the posterior of the life model.
    """
    key = np.array([e.key for e in edges], dtype=np.int64)
    age = np.array([e.age for e in edges], dtype=np.float64)
    planned = np.array([e.planned_cost for e in edges], dtype=np.float64)
    failure = np.array([e.failure_cost for e in edges], dtype=np.float64)
    rate = np.where(due.wear_now > 0, due.wear_now, 1e-4)
    signs = signs_of(edges)
    mounted, cost_rate, failing = model.swap_age(key, planned, failure, rate, signs)
    best, fail, looked = mounted.copy(), failing.copy(), signs.looked
    if looked.any():  # the edges after them are like any of their key
        best[looked], _, fail[looked] = model.swap_age(
            key[looked], planned[looked], failure[looked], rate[looked]
        )
    rows = np.arange(len(edges))
    left = mounted - age
    size_parts = np.array(
        [np.inf if e.size_parts_left is None else max(e.size_parts_left, 0.0) for e in edges]
    )
    size = np.where(np.isfinite(size_parts), size_parts, 0.0) * due.wear_now
    # A look at the edge says the same, with the run-in and its doubt reckoned in.
    by_size = np.isfinite(size_parts) & (size < left) & ~looked
    wear = np.where(by_size, size, left)
    # Where that look says otherwise, so does its sentence: a straight line is not quoted.
    size_parts = np.where(looked & (size < wear), np.inf, size_parts)
    seconds = lines.until(rows, wear)
    # what size corrections show of this edge may also make its risk too dear before the limit
    sooner = (signs.seen_kind == SIZE_SEEN) & (mounted < best)
    why = np.where(by_size | sooner, SIZE_LIMIT, COST)
    why = np.where(np.isfinite(seconds), why, RUN_ENDS_FIRST)
    idle, past = due.wear_now <= 0, left <= 0
    seconds = np.where(past, 0.0, seconds)
    why = np.where(past, PAST, why)
    to_failure = (failing >= MOST_FAIL) & ~(by_size | sooner)
    why = np.where(to_failure, RUN_TO_FAILURE, why)
    seconds = np.where(idle | to_failure, np.inf, seconds)
    why = np.where(idle, RUN_ENDS_FIRST, why)
    out = np.where(past, age, age + wear)
    return (
        OwnPoints(
            best,
            cost_rate,
            mounted,
            failing,
            seconds,
            out,
            why,
            by_size | sooner,
            size_parts,
            fail >= MOST_FAIL,
        ),
        moving_cost(model, key, planned, failure, rate, best, cost_rate),
    )
