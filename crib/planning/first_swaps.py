"""The next swap of every station as one row each, with its reason and what moving it costs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.planning.due import EdgesDue, MountedEdge, signs_of
from crib.planning.found_swaps import Events
from crib.planning.moving_cost import LEAST_ALIVE, REACH, STEP_SHARE, MovingCost
from crib.planning.succession import Succession
from crib.planning.swaps import (
    BEFORE_THE_DARK,
    NOBODY_NOW,
    RUN_TO_FAILURE,
    UNATTENDED,
    WHYS,
    Figures,
    StationPlan,
    Swap,
    sentence_of_first,
)
from crib.planning.wear_lines import WearLines
from crib.sentence import sentence

_IDLE = sentence("No run ahead uses this station.")


def first_swaps(
    edges: Sequence[MountedEdge],
    due: EdgesDue,
    walk: Succession,
    moving: MovingCost,
    told: Mapping[tuple[int, float], str],
) -> list[StationPlan]:
    """The first swap of every edge, or its own point where the walk did not come so far.

    Args:
        edges: The mounted edges.
        due: What lies ahead of them.
        walk: The walk through the nights.
        moving: What moving a swap costs.
        told: Sentences of swaps that the night's rule added, by edge and running second.
    """
    own = walk.own
    seconds, age, why, stop = _first(walk)
    start = np.array([edge.age for edge in edges], dtype=np.float64)
    worn = due.wear_now > 0
    per_part = np.where(worn, due.wear_now, 1.0)
    planned = worn & (walk.own_why != RUN_TO_FAILURE)
    spare = np.where(planned, np.maximum(own.mounted_best - start, 0.0) / per_part, math.inf)
    parts = _parts(walk.lines, seconds, per_part, spare)
    own_parts = _parts(walk.lines, walk.own_s, per_part, spare)
    steps = np.where(worn, STEP_SHARE * own.mounted_best / per_part, math.inf)
    earlier, later = moving.measured_by(own.mounted_best).steps(walk.all, age, start)
    _by_model(walk, edges, age, earlier, later)
    moves = np.isfinite(seconds)
    earlier, later = np.where(moves, earlier, np.nan), np.where(moves, later, np.nan)
    columns = (
        seconds, age, why, stop, parts, own_parts, start, own.mounted_best, own.failing, steps,
        earlier, later, own.size_sets, own.size_parts, worn, walk.own_s,
        walk.own_why == UNATTENDED, _held_back(walk, later),
    )  # fmt: skip
    plans = []
    for row, values in enumerate(zip(*(column.tolist() for column in columns), strict=True)):
        (at, out, reason, join, count, own_count, used, best, failing, step, early, late,
         by_size, size_parts, wears, own_at, dark, held) = values  # fmt: skip
        if not wears:
            text: str = _IDLE
        elif reason == UNATTENDED:
            usual = NOBODY_NOW if at > own_at else BEFORE_THE_DARK
            text = told.get((row, at), usual)
        else:
            text = sentence_of_first(
                reason,
                join,
                Figures(
                    used,
                    best,
                    failing,
                    own_count,
                    count,
                    size_parts if by_size else None,
                    dark,
                    held,
                ),
            )
        plans.append(
            StationPlan(
                Swap(at, WHYS[reason], text, out),
                count,
                best,
                failing,
                step,
                None if early != early else early,
                None if late != late else late,
                by_size,
            )
        )
    return plans


def _by_model(
    walk: Succession,
    edges: Sequence[MountedEdge],
    age: Floats,
    earlier: Floats,
    later: Floats,
) -> None:
    """Costs of edges that no table holds: looked at, or long past their point."""
    own, signs = walk.own, signs_of(edges)
    old = age > (REACH - STEP_SHARE) * own.mounted_best
    rows = np.flatnonzero((signs.looked | old) & np.isfinite(age))
    if not rows.size:
        return
    start = np.array([edges[row].age for row in rows.tolist()])
    failure = np.array([edges[row].failure_cost for row in rows.tolist()])
    seen, key, rate = signs.take(rows), walk.key[rows], walk.rate[rows]
    step, out = STEP_SHARE * own.mounted_best[rows], age[rows]
    before = np.maximum(out - step, start)
    ahead = np.maximum(np.stack([out, before, out + step], axis=1) - start[:, None], 0.0)
    cost = walk.model.swap_cost(key, start, ahead, walk.planned[rows], failure, rate, seen)
    lives = [walk.model.survival(key, start, ahead[:, i], rate, seen) for i in (0, 1)]
    alive = np.maximum(lives, LEAST_ALIVE)
    earlier[rows] = np.where(before < out, (cost[:, 1] - cost[:, 0]) / alive[1], np.nan)
    later[rows] = (cost[:, 2] - cost[:, 0]) / alive[0]


def _held_back(walk: Succession, later: Floats) -> Bools:
    """Edges that would rather wait, of kinds of which none was seen worn."""
    held: Bools = later < 0
    rows = np.flatnonzero(held)
    if rows.size:
        held[rows] = walk.model.basis(walk.key[rows]).worn == 0
    return held


def _first(walk: Succession) -> tuple[Floats, Floats, Ints, Ints]:
    """Second, age, why and stop of every edge's first swap."""
    events = walk.events()
    place = _first_places(events, len(walk.all))
    rows = np.flatnonzero(place >= 0)
    at = place[rows]
    seconds, age = walk.next_s.copy(), walk.next_age.copy()
    why, stop = walk.next_why.copy(), walk.next_stop.copy()
    seconds[rows], age[rows] = events.seconds[at], events.age[at]
    why[rows], stop[rows] = events.why[at], events.stop[at]
    return seconds, age, why, stop


def _first_places(events: Events, count: int) -> Ints:
    """Place of the first event of each edge; -1 where it has none."""
    place = np.full(count, -1, dtype=np.int64)
    place[events.row[::-1]] = np.arange(len(events.row))[::-1]
    return place


def _parts(lines: WearLines, seconds: Floats, per_part: Floats, spare: Floats) -> Floats:
    """Parts cut by running seconds; as many as the edge has to spare where there are none.

    Counted in parts like the next one, as quantiles of parts left are: what a machine makes
    of parts that leave the station idle is none of its.
    """
    finite = np.isfinite(seconds)
    worn = lines.at(np.arange(len(seconds)), np.where(finite, seconds, 0.0))
    # a hair of grace: a stop after whole parts must not read as one part less
    return np.where(finite, worn / per_part * (1 + 1e-12), spare)
