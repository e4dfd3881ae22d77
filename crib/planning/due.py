"""How long each mounted edge will last: parts, clock time, chance to fail in a stretch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.model import LifeModel
from crib.life.signs import EdgeSigns, edge_signs
from crib.planning.ahead import TimeAhead
from crib.planning.demand import Segments, WearAhead, wear_ahead
from crib.planning.wear_lines import WearLines

#: Shares of edges given out by then, in the order of every quantile array here.
PROBS = (0.05, 0.1, 0.5, 0.9)

#: Place in it by which a sister has to be ready, whatever the swap point; and of the median.
EARLY = 1
MIDDLE = 2


@dataclass(frozen=True, slots=True)
class MachineAhead:
    """A machine's time and work ahead.

    Attributes:
        machine: Its name.
        time: Its running time ahead.
        segments: Its runs over that time.
        shift_end_s: Running second at which the shift in progress ends.
    """

    machine: str
    time: TimeAhead
    segments: Segments
    shift_end_s: float


@dataclass(frozen=True, slots=True)
class MountedEdge:
    """A mounted edge and what is known of it.

    Attributes:
        station_id: Its station.
        machine: Index of its machine in the caller's list.
        key: Row of the life model.
        age: Wear put on so far [wear units].
        per_part: Wear of one part of each run ahead, shape (runs,); 0 where not used.
        planned_cost: Cost of a planned swap, in any one currency.
        failure_cost: Cost of a failure in the cut, same currency; more than a planned swap.
        size_parts_left: Parts until the size limit, where size corrections tell it.
        lot: Label of its box for the life model; -1: not known.
        seen_share: Share of the wear limit last seen on it; NaN: nothing.
        seen_at: Its wear when that was seen [wear units].
        seen_kind: What was seen (``crib.life.observations``); 0: nothing.
        own: Its number among the running edges of the life model; -1: it is none of them.
        swap_minutes: How long swapping it takes.
    """

    station_id: int
    machine: int
    key: int
    age: float
    per_part: tuple[float, ...]
    planned_cost: float
    failure_cost: float
    size_parts_left: float | None = None
    lot: int = -1
    seen_share: float = math.nan
    seen_at: float = math.nan
    seen_kind: int = 0
    own: int = -1
    swap_minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class EdgesDue:
    """What lies ahead of edges, arrays in their order.

    Attributes:
        wear_now: Wear per part that the next parts put on, shape (edges,); 0: no plan uses it.
        lines: Wear line of each edge's station.
        remaining: Wear still to go at ``PROBS``, shape (edges, 4).
        parts_left: Parts still to go at ``PROBS``, shape (edges, 4); infinite without wear.
        run_out_us: Instants of ``PROBS`` [µs], -1 where the plan ends before, shape (edges, 4).
        fail_shift: Chance to fail in the rest of the shift, shape (edges,).
        dark_s: Running seconds of the next unattended stretch, shape (edges, 2); NaN: none.
        fail_dark: Chance to fail in it if it lives to see it, shape (edges,).
    """

    wear_now: Floats
    lines: tuple[WearAhead, ...]
    remaining: Floats
    parts_left: Floats
    run_out_us: Ints
    fail_shift: Floats
    dark_s: Floats
    fail_dark: Floats


#: Stands in for the wear per part of an edge that nothing wears, where a rate is asked for.
_SOME_WEAR = 1e-4


def next_wear(segments: Segments, per_part: Sequence[float]) -> float:
    """Wear per part of the first run ahead that uses the station; 0 where none does."""
    for run, _ in segments.steps:
        if run >= 0 and per_part[run] > 0:
            return per_part[run]
    return 0.0


def signs_of(edges: Sequence[MountedEdge]) -> EdgeSigns:
    """What the life model gets of each edge beside its age, shape (edges,)."""
    return edge_signs(
        np.array([edge.lot for edge in edges], dtype=np.int64),
        np.array([edge.seen_share for edge in edges], dtype=np.float64),
        np.array([edge.seen_at for edge in edges], dtype=np.float64),
        np.array([edge.seen_kind for edge in edges], dtype=np.int64),
        np.array([edge.own for edge in edges], dtype=np.int64),
    )


def edges_due(
    machines: Sequence[MachineAhead], edges: Sequence[MountedEdge], model: LifeModel
) -> EdgesDue:
    """Quantiles and chances of mounted edges, all machines at once.

    Source: conditional survival of the life model (``crib.life.model``) along the wear that
    the machine's plan puts on.
    """
    count = len(edges)
    lines = tuple(wear_ahead(machines[e.machine].segments, e.per_part) for e in edges)
    wear_now = np.array(
        [next_wear(machines[e.machine].segments, e.per_part) for e in edges], dtype=np.float64
    )
    key = np.array([e.key for e in edges], dtype=np.int64)
    age = np.array([e.age for e in edges], dtype=np.float64)
    rate = np.where(wear_now > 0, wear_now, _SOME_WEAR)
    signs = signs_of(edges)
    remaining = model.remaining(key, age, rate, PROBS, signs).reshape(count, len(PROBS))
    parts_left = np.where(wear_now[:, None] > 0, remaining / rate[:, None], np.inf)
    rows, batch = np.arange(count), WearLines(lines)
    run_out_s = np.empty((count, len(PROBS)))
    for column in range(len(PROBS)):
        run_out_s[:, column] = batch.until(rows, remaining[:, column])
    machine = np.array([e.machine for e in edges], dtype=np.int64)
    shift_end_s = np.array([one.shift_end_s for one in machines], dtype=np.float64)
    shift = batch.at(rows, shift_end_s[machine])
    none = (math.nan, math.nan)
    stretches = np.array(
        [one.time.next_unattended() or none for one in machines], dtype=np.float64
    )
    dark = stretches.reshape(len(machines), 2)[machine]
    inside = np.isfinite(dark)
    dark_wear = np.zeros((count, 2))
    for column in range(2):
        at = np.where(inside[:, column], dark[:, column], 0.0)
        dark_wear[:, column] = batch.at(rows, at)
    return EdgesDue(
        wear_now=wear_now,
        lines=lines,
        remaining=remaining,
        parts_left=parts_left,
        run_out_us=_clock_us(machines, machine, run_out_s),
        fail_shift=model.fail_probability(key, age, shift, rate, signs),
        dark_s=dark,
        fail_dark=model.fail_probability(
            key, age + dark_wear[:, 0], dark_wear[:, 1] - dark_wear[:, 0], rate, signs
        ),
    )


def sound_rows(edges: Sequence[MountedEdge], due: EdgesDue) -> Bools:
    """Edges whose figures are numbers, shape (edges,): others would spoil their neighbours."""
    told = np.array(
        [(edge.age, edge.planned_cost, edge.failure_cost, sum(edge.per_part)) for edge in edges]
    ).reshape(len(edges), 4)
    sound: Bools = np.isfinite(told).all(axis=1) & (told >= 0).all(axis=1)
    sound &= ~np.isnan(due.parts_left).any(axis=1) & ~np.isnan(due.fail_shift)
    sound &= ~(np.isnan(due.fail_dark) & np.isfinite(due.dark_s[:, 0]))
    return sound


def _clock_us(machines: Sequence[MachineAhead], machine_of: Ints, seconds: Floats) -> Ints:
    """Instants of running seconds, each row on its own machine's clock."""
    at_us = np.empty(seconds.shape, dtype=np.int64)
    order = np.argsort(machine_of, kind="stable")
    bounds = np.flatnonzero(np.diff(machine_of[order])) + 1
    for rows in np.split(order, bounds):
        if rows.size:
            at_us[rows] = machines[int(machine_of[rows[0]])].time.clock_us(seconds[rows])
    return at_us
