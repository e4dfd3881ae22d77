"""Which swaps share a stop: each comes forward where that gives away less than it saves.

Given each swap's own latest second, a set of stops is chosen; every swap is made at the last
chosen stop before its own second. What a stop costs is paid once, what an edge gives away by
coming out early is paid by each. That is a facility location on a line, solved exactly for all
machines at once by dynamic programming from the last stop backwards.

Opportunistic replacement joins a stop only when the own swap point is near: an edge may give
away no more than the last fifth of its life (``NEAR``), or it would be swapped over and over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.planning.stops_ahead import KINDS, OWN, STOP_MINUTES, TOOL_SWAP, Stops

#: Share of its life at least used by an edge that comes out early to join a stop.
NEAR: Final = 0.8

_MACHINES_AT_ONCE = 400

#: ``(rows, seconds) -> cost`` of swapping at those seconds instead of at the own ones.
MoveCost = Callable[[Ints, Floats], Floats]


@dataclass(frozen=True, slots=True)
class Gathered:
    """Where swaps are made.

    Attributes:
        seconds: Running seconds, never after the own ones, shape (swaps,).
        kind: Kind of stop (``KINDS``): ``own`` where it stays, shape (swaps,).
    """

    seconds: Floats
    kind: Ints


class StopTable:
    """The stops of all machines, for the last one of each kind before many seconds.

    Args:
        stops: One per machine.
    """

    __slots__ = ("_flat", "_span")

    def __init__(self, stops: Sequence[Stops]) -> None:
        latest = [float(one.seconds[-1]) for one in stops if one.seconds.size]
        self._span = max(latest, default=0.0) + 1.0
        self._flat: dict[int, Floats] = {}
        for kind in range(len(KINDS)):
            times = [one.seconds[one.kind == kind] for one in stops]
            if any(some.size for some in times):
                self._flat[kind] = self._laid(times)

    def joined(self, kind: int, times: Sequence[Floats]) -> StopTable:
        """A table with stops of one more kind beside, some seconds of each machine."""
        latest = max((float(some.max()) for some in times if some.size), default=0.0)
        other = copy(self)
        other._span = max(self._span, latest + 1.0)
        grown = other._span - self._span
        other._flat = {
            known: flat + np.floor(flat / self._span) * grown
            for known, flat in self._flat.items()
        }
        other._flat[kind] = other._laid([np.sort(some) for some in times])
        return other

    def _laid(self, times: Sequence[Floats]) -> Floats:
        """Seconds of all machines in one rising line, each machine in a span of its own."""
        return np.concatenate([some + number * self._span for number, some in enumerate(times)])

    def last_before(self, machine: Ints, seconds: Floats) -> list[tuple[int, Floats]]:
        """The last stop of each kind not after the seconds; -inf where there is none."""
        found = []
        base = machine * self._span
        wanted = base + np.minimum(seconds, self._span - 0.5)
        for kind, flat in self._flat.items():
            # half a microsecond of grace: the machine's offset costs the last digits
            index = np.searchsorted(flat, wanted + 5e-7, side="right") - 1
            at = flat[np.maximum(index, 0)] - base
            found.append((kind, np.where((index >= 0) & (at >= 0), at, -np.inf)))
        return found


def join_stops(
    table: StopTable,
    machine: Ints,
    own_s: Floats,
    nearest_s: Floats,
    minute_cost: float,
    move_cost: MoveCost,
) -> Gathered:
    """Let each swap by itself join the stop that is made anyway where that pays most.

    Args:
        table: Stops of the machines.
        machine: Machine of each swap, shape (swaps,).
        own_s: Own running second of each, same shape [s].
        nearest_s: Second before which it may not be made, same shape [s].
        minute_cost: Cost of a minute of a machine, in any one currency.
        move_cost: What coming forward gives away, in the same.
    """
    seconds, kind = own_s.copy(), np.full(len(own_s), OWN, dtype=np.int64)
    best = np.full(len(own_s), STOP_MINUTES[OWN] * minute_cost)
    for code, at in table.last_before(machine, own_s):
        rows = np.flatnonzero((at >= nearest_s) & (at <= own_s))
        if not rows.size:
            continue
        cost = move_cost(rows, at[rows]) + STOP_MINUTES[code] * minute_cost
        better = cost < best[rows]
        rows = rows[better]
        best[rows] = cost[better]
        seconds[rows], kind[rows] = at[rows], code
    return Gathered(seconds, kind)


def gather(
    table: StopTable,
    machine: Ints,
    own_s: Floats,
    nearest_s: Floats,
    minute_cost: float,
    move_cost: MoveCost,
) -> Gathered:
    """Share stops among the swaps of each machine at the least cost of all.

    Args:
        table: Stops that the machines make anyway.
        machine: Machine of each swap, shape (swaps,).
        own_s: Latest running second of each, finite, same shape [s].
        nearest_s: Second before which it may not be made, not after its own, same shape [s].
        minute_cost: Cost of a minute of a machine, in any one currency.
        move_cost: What coming forward gives away, in the same; 0 at the own second and rising
            backwards.
    """
    seconds, kind = own_s.copy(), np.full(len(own_s), OWN, dtype=np.int64)
    anyway = table.last_before(machine, own_s)
    order = np.lexsort((own_s, machine))
    bounds = np.flatnonzero(np.diff(machine[order])) + 1
    groups = [rows for rows in np.split(order, bounds) if rows.size]
    groups.sort(key=len)  # machines of like size side by side waste least room
    for first in range(0, len(groups), _MACHINES_AT_ONCE):
        some = groups[first : first + _MACHINES_AT_ONCE]
        width = max(len(rows) for rows in some)
        rows = np.full((len(some), width), -1, dtype=np.int64)
        for place, members in enumerate(some):
            rows[place, : len(members)] = members
        _share(rows, anyway, own_s, nearest_s, minute_cost, move_cost, seconds, kind)
    return Gathered(seconds, kind)


def _share(
    rows: Ints,
    anyway: list[tuple[int, Floats]],
    own_s: Floats,
    nearest_s: Floats,
    minute_cost: float,
    move_cost: MoveCost,
    seconds: Floats,
    kind: Ints,
) -> None:
    """Solve machines side by side; rows are sorted by own second, -1 fills up."""
    there = rows >= 0
    own = np.where(there, own_s[rows], np.inf)
    nearest = np.where(there, nearest_s[rows], np.inf)
    stops: list[tuple[int, Floats]] = [(OWN, own)]
    for made, at in anyway:
        stop = np.where(there, at[rows], np.inf)
        stops.append((made, np.where((stop >= nearest) & (stop <= own), stop, np.inf)))
    time, code = _in_order(sorted(stops, key=lambda one: STOP_MINUTES[one[0]]))
    stop_cost = np.where(np.isfinite(time), np.asarray(STOP_MINUTES)[code] * minute_cost, 0.0)
    chosen = _cheapest(time, stop_cost, *_moves(rows, own, nearest, time, move_cost))
    taken = np.take_along_axis(time, chosen, axis=1)
    taken_code = np.take_along_axis(code, chosen, axis=1)
    moved = there & (taken < own)
    seconds[rows[moved]] = taken[moved]
    kind[rows[moved]] = np.where(taken_code[moved] == OWN, TOOL_SWAP, taken_code[moved])


def _in_order(stops: list[tuple[int, Floats]]) -> tuple[Floats, Ints]:
    """Times of all stops in order, the cheapest of each time alone, infinite ones last."""
    time = np.concatenate([at for _, at in stops], axis=1)
    code = np.concatenate([np.full(at.shape, made) for made, at in stops], axis=1)
    for _ in range(2):  # the second time to push back the dear ones of equal time
        order = np.argsort(time, axis=1, kind="stable")
        time = np.take_along_axis(time, order, axis=1)
        code = np.take_along_axis(code, order, axis=1)
        time[:, 1:][time[:, 1:] == time[:, :-1]] = np.inf
    some = np.isfinite(time).any(axis=0)
    return time[:, some], code[:, some]


def _moves(
    rows: Ints, own: Floats, nearest: Floats, time: Floats, move_cost: MoveCost
) -> tuple[Floats, Ints, Ints]:
    """Sums over the swaps in order: cost at each time, swaps that cannot, swaps before it."""
    machines = len(rows)
    allowed = (time[:, None, :] >= nearest[:, :, None]) & (time[:, None, :] <= own[:, :, None])
    cost = np.zeros(allowed.shape)
    m, e, j = np.nonzero(allowed & (rows >= 0)[:, :, None])
    cost[m, e, j] = np.maximum(move_cost(rows[m, e], time[m, j]), 0.0)
    shape = (machines, 1, time.shape[1])
    sums = np.concatenate([np.zeros(shape), np.cumsum(cost, axis=1)], axis=1)
    bad = (~allowed & np.isfinite(own)[:, :, None]).astype(np.int64)
    bad = np.concatenate([np.zeros(shape, dtype=np.int64), np.cumsum(bad, axis=1)], axis=1)
    before = np.sum(own[:, :, None] < time[:, None, :], axis=1)
    return sums, bad, before


def _cheapest(time: Floats, stop_cost: Floats, sums: Floats, bad: Ints, before: Ints) -> Ints:
    """Place of the chosen stop of each swap, shape (machines, swaps)."""
    machines, count = time.shape
    width = sums.shape[1] - 1
    row = np.arange(machines)
    # times that only fill up lie after every swap: they cost nothing and lead to the end
    start = np.concatenate([before, np.full((machines, 1), width)], axis=1)
    best = np.zeros((machines, count + 1))
    following = np.full((machines, count + 1), count, dtype=np.int64)
    for j in range(count - 1, -1, -1):
        lead = start[:, j]
        later = start[:, j + 1 :]
        spent = sums[row[:, None], later, j] - sums[row, lead, j][:, None]
        cannot = bad[row[:, None], later, j] - bad[row, lead, j][:, None]
        whole = np.where(cannot > 0, np.inf, spent + best[:, j + 1 :])
        pick = np.argmin(whole, axis=1)
        best[:, j] = stop_cost[:, j] + whole[row, pick]
        following[:, j] = j + 1 + pick
    lead_ok = start[:, :count] == 0
    here = np.argmin(np.where(lead_ok, best[:, :count], np.inf), axis=1)
    chosen = np.zeros((machines, width), dtype=np.int64)
    place = np.arange(width)[None, :]
    for _ in range(count):
        going = here < count
        if not going.any():
            break
        at = np.minimum(here, count - 1)
        mine = (place >= start[row, at][:, None]) & going[:, None]
        chosen = np.where(mine, at[:, None], chosen)
        here = np.where(going, following[row, at], here)
    return chosen
