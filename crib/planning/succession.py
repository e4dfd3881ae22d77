"""The swaps of every station through the horizon, stretch by stretch, all stations at once.

Each successor is a new edge with a swap of its own (renewal of the posterior). Up to every
unattended stretch stops are shared first; then the night's rule says what else comes out
before it. What is planned up to an instant never depends on what comes after it, so a longer
look only adds to a shorter one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.model import LifeModel
from crib.life.signs import NO_SIGNS, EdgeSigns
from crib.planning.attended import Attended
from crib.planning.due import EdgesDue, MachineAhead, MountedEdge, signs_of
from crib.planning.early_stop import StopAhead, most_before_stop
from crib.planning.found_swaps import AsLeft, Events, NightSeen
from crib.planning.gathering import NEAR, Gathered, StopTable, gather, join_stops
from crib.planning.moving_cost import MovingCost
from crib.planning.night import NightChoice, NightLimit, choose_swaps
from crib.planning.night_begun import NightsBegun, none_begun, signs_then
from crib.planning.own_points import OwnPoints
from crib.planning.stops_ahead import OWN, TOOL_SWAP, Stops
from crib.planning.swaps import COST, GATHERED, PAST, UNATTENDED
from crib.planning.wear_lines import WearLines

#: Running seconds through which nights are kept and stops shared; later only each edge's own
#: point counts.
PLANNED_S: Final = 72 * 3600.0

#: Swaps of one station between two unattended stretches that a plan looks through.
MOST_IN_A_ROW: Final = 60

#: Tie-breaker among swaps that give nothing away, as a share of a planned swap.
_LEAST_COST: Final = 0.02

#: Parts of a stretch within which the hazard is taken as a straight line.
POINTS: Final = 24

#: What a walk changes as it goes.
_STATE: Final = (
    "since", "base_wear", "base_age", "best", "next_s", "next_age", "next_why", "next_stop",
    "nearest_s", "_found",
)  # fmt: skip

_LEAST_STEP_S = 60.0
#: An edge is not taken out again so soon after it was put in, only since nobody is there later.
_JUST_PUT_IN_S = 900.0
_SOME_WEAR = 1e-4


class Succession:
    """The walk; ``nights`` and ``events`` are what it finds.

    Args:
        machines: Their time and work ahead.
        attended: Times of the machines.
        edges: The mounted edges.
        due: What lies ahead of them.
        lines: Their wear lines.
        own: Their own points.
        moving: What moving a swap costs.
        model: The life model.
        stops: Stops of each machine that are made anyway.
        minute_cost: Cost of a minute of a machine.
        limits: What is accepted of an unattended stretch of each machine.
        scale: Factor on the chances of stretches, from how earlier ones went.
        begun: The stretches in progress; None where there are none.
        late: Edges that cannot be swapped before the next stretch, shape (edges,); None: none.
    """

    def __init__(
        self,
        machines: Sequence[MachineAhead],
        attended: Attended,
        edges: Sequence[MountedEdge],
        due: EdgesDue,
        lines: WearLines,
        own: OwnPoints,
        moving: MovingCost,
        model: LifeModel,
        stops: Sequence[Stops],
        minute_cost: float,
        limits: Sequence[NightLimit],
        scale: float = 1.0,
        begun: NightsBegun | None = None,
        late: Bools | None = None,
    ) -> None:
        count = len(edges)
        self.late = np.zeros(count, dtype=np.bool_) if late is None else late
        self.machines, self.begun = machines, begun or none_begun(len(limits), count)
        self.attended, self.lines, self.own, self.moving = attended, lines, own, moving
        self.model, self.minute_cost, self.limits = model, minute_cost, limits
        self.stops, self.scale = stops, scale
        self.anyway = self.table = StopTable(stops)
        self.machine = np.array([e.machine for e in edges], dtype=np.int64)
        self.key = np.array([e.key for e in edges], dtype=np.int64)
        self.planned = np.array([e.planned_cost for e in edges], dtype=np.float64)
        self.swap_minutes = np.array([e.swap_minutes for e in edges], dtype=np.float64)
        self.extra = np.array([e.failure_cost for e in edges], dtype=np.float64) - self.planned
        self.allowed = np.array([one.allowed for one in limits], dtype=np.float64)
        by_loss = np.array([one.loss_minor is not None for one in limits], dtype=np.bool_)
        self.weight = np.where(by_loss[self.machine], self.extra, 1.0)
        self._signs_now = signs_of(edges)
        self._age_now = np.array([e.age for e in edges], dtype=np.float64)
        self.signs = self._signs_now.take(np.arange(count))
        self.best = own.mounted_best.copy()
        self.rate = np.where(due.wear_now > 0, due.wear_now, _SOME_WEAR)
        self.all = np.arange(count)
        self.since = np.zeros(count)
        self.base_wear = np.zeros(count)
        self.base_age = self._age_now.copy()
        self.reached_s = 0.0
        self.nights: list[NightSeen] = []
        self._found: list[Events] = []
        self.next_s, self.next_age = own.seconds.copy(), own.age.copy()
        self.next_why, self.next_stop = own.why.copy(), np.zeros(count, dtype=np.int64)
        waits = self.next_why != PAST
        self._out_of_the_dark(np.flatnonzero(waits))
        self.own_s, self.own_why = self.next_s.copy(), self.next_why.copy()
        self.nearest_s = self._nearest(self.all)

    def events(self) -> Events:
        """Every swap found so far."""
        found = self._found or [self._event(np.empty(0, dtype=np.int64))]
        return Events(
            *(
                np.concatenate([getattr(piece, name) for piece in found])
                for name in Events.__slots__
            )
        )

    def keep_nights(self, until_s: float = PLANNED_S) -> None:
        """Walk through the unattended stretches that begin before a running second."""
        table = self.attended.nights(until_s)
        for ordinal in range(table.shape[1]):
            begin, end = table[:, ordinal, 0], table[:, ordinal, 1]
            row_begin = np.where(np.isfinite(begin), begin, -np.inf)[self.machine]
            left = self._as_left()
            self._share_stops(row_begin)
            self._advance(row_begin)
            self._night(begin, end, left)
        until = np.full(len(self.all), until_s)
        self._share_stops(until)
        self._advance(until)
        self.reached_s = until_s

    def gone_on(self, until_s: Floats) -> Succession:
        """Another walk, on to a running second of each machine, edges at their own points."""
        further = copy(self)
        for name in _STATE:
            setattr(further, name, getattr(self, name).copy())
        further.signs = self.signs.take(self.all)
        further._advance(until_s[self.machine])
        return further

    def _event(self, rows: Ints) -> Events:
        return Events(
            rows,
            self.next_s[rows],
            self.next_age[rows],
            self.next_why[rows],
            self.next_stop[rows],
        )

    def _advance(self, until: Floats) -> None:
        """Make every swap up to the seconds given, one of each station at a time."""
        rows = np.flatnonzero(self.next_s <= until)
        for _ in range(MOST_IN_A_ROW):
            if not rows.size:
                return
            self._found.append(self._event(rows))
            self._renew(rows, self.next_s[rows])
            self._join(rows[self.next_s[rows] <= until[rows]])
            rows = rows[self.next_s[rows] <= until[rows]]
        self._renew(rows, until[rows])  # an edge that lasts no time at all is not followed

    def _renew(self, rows: Ints, since: Floats) -> None:
        """Put a new edge in and find its own point."""
        self.since[rows] = since
        worn = self.lines.at(rows, since)
        self.base_wear[rows], self.base_age[rows] = worn, 0.0
        self.signs.lot[rows], self.signs.seen_kind[rows] = -1, 0
        self.best[rows] = self.own.best_age[rows]
        self.next_age[rows] = self.own.best_age[rows]
        at = self.lines.until(rows, worn + self.own.best_age[rows])
        self.next_s[rows] = np.where(self.own.to_failure[rows], np.inf, at)
        self.next_why[rows], self.next_stop[rows] = COST, OWN
        self._out_of_the_dark(rows)
        self.nearest_s[rows] = self._nearest(rows)

    def _out_of_the_dark(self, rows: Ints) -> None:
        """Bring swaps that nobody is there to make forward to the last attended moment."""
        planned = self.next_s[rows]
        at, moved = self.attended.last_attended(self.machine[rows], planned)
        since = self.since[rows]
        step = np.where(since > 0, _JUST_PUT_IN_S, _LEAST_STEP_S)
        soon = (at <= since + step) & (at <= planned - step)
        hopeless = moved & (soon | (at <= since))
        rows, at, hopeless = rows[moved], at[moved], hopeless[moved]
        worn = self.lines.at(rows, at) - self.base_wear[rows]
        # nobody changes an edge that has not cut yet for another one
        hopeless |= self.base_age[rows] + worn <= 0
        self.next_age[rows] = np.where(
            hopeless, self.next_age[rows], self.base_age[rows] + worn
        )
        self.next_s[rows] = np.where(
            hopeless, self.attended.dark_end(self.machine[rows], at), at
        )
        self.next_why[rows] = UNATTENDED

    def _nearest(self, rows: Ints) -> Floats:
        """Seconds before which swaps may not come forward."""
        least = NEAR * self.next_age[rows] - self.base_age[rows]
        at = self.lines.until(rows, self.base_wear[rows] + np.maximum(least, 0.0))
        at = np.maximum(at, self.since[rows])
        stays = self.next_age[rows] >= self.best[rows] * (1 + 1e-9)
        stays |= self.next_why[rows] == PAST
        result: Floats = np.where(stays, self.next_s[rows], np.minimum(at, self.next_s[rows]))
        return result

    def _give_away(self, rows: Ints, seconds: Floats) -> Floats:
        """What edges give away that come out early."""
        planned = self.next_age[rows]
        early = np.minimum(self._age(rows, seconds), planned)
        return self.moving.measured_by(self.best).forward(rows, planned, early)

    def _age(self, rows: Ints, seconds: Floats) -> Floats:
        age = self.base_age[rows] + self.lines.at(rows, seconds) - self.base_wear[rows]
        return np.maximum(age, 0.0)

    def _share_stops(self, until: Floats) -> None:
        """Share stops among the next swaps of each machine that may be made by then."""
        rows = np.flatnonzero((self.nearest_s <= until) & np.isfinite(self.next_s))
        dark_now, _ = self.attended.last_attended(self.machine[rows], self.next_s[rows] + 1e-6)
        rows = rows[(self.next_s[rows] > 0) | (dark_now > 0)]
        if not rows.size:
            return
        found = gather(
            self.anyway,
            self.machine[rows],
            self.next_s[rows],
            self.nearest_s[rows],
            self.minute_cost,
            lambda some, seconds: self._give_away(rows[some], seconds),
        )
        now = found.seconds <= until[rows]
        self._settle(rows[now], Gathered(found.seconds[now], found.kind[now]))
        self._stop_here(rows[now])

    def _stop_here(self, rows: Ints) -> None:
        """Swaps just planned are stops that later swaps of other tools may join."""
        order = rows[np.argsort(self.machine[rows], kind="stable")]
        numbers = self.machine[order]
        begins = np.searchsorted(numbers, np.arange(len(self.stops) + 1))
        seconds = self.next_s[order]
        made = [seconds[a:b] for a, b in pairwise(begins.tolist())]
        self.table = self.anyway.joined(TOOL_SWAP, made)

    def _join(self, rows: Ints) -> None:
        """Later swaps of the same stretch join stops one by one."""
        if not rows.size or self.reached_s:
            return
        found = join_stops(
            self.table,
            self.machine[rows],
            self.next_s[rows],
            self.nearest_s[rows],
            self.minute_cost,
            lambda some, seconds: self._give_away(rows[some], seconds),
        )
        self._settle(rows, found)

    def _settle(self, rows: Ints, found: Gathered) -> None:
        moved = found.seconds < self.next_s[rows]
        rows, seconds = rows[moved], found.seconds[moved]
        self.next_age[rows] = self._age(rows, seconds)
        self.next_s[rows] = seconds
        self.next_why[rows], self.next_stop[rows] = GATHERED, found.kind[moved]

    def _as_left(self) -> AsLeft:
        """The edges after the stretch before, as if nothing were swapped from there on."""
        return AsLeft(
            self.base_age - self.base_wear, self.signs.take(self.all), len(self._found)
        )

    def _night(self, begin: Floats, end: Floats, left: AsLeft) -> None:
        """Apply the night's rule to the machines' stretches of one ordinal."""
        has = np.isfinite(begin)
        at, out = np.where(has, begin, 0.0)[self.machine], np.where(has, end, 0.0)[self.machine]
        worn = self.lines.at(self.all, at)
        night = np.maximum(self.lines.at(self.all, out) - worn, 0.0)
        # in a stretch that has begun nobody makes what is due, either
        begun = at <= 0
        stays_age = np.maximum(left.age + worn, 0.0) + np.where(begun, self.begun.unheard, 0.0)
        spent, broke = self._spent(begun) if begun.any() else (np.zeros(len(self.all)),) * 2
        stays = spent + self.hazard(self.all, stays_age, night, left.signs)
        age = np.maximum(self.base_age + worn - self.base_wear, 0.0)
        kept = np.where(begun, stays, self.hazard(self.all, age, night, self.signs))
        fresh = self.hazard(self.all, np.zeros(len(self.all)), night, NO_SIGNS)
        own_age = np.where(np.isfinite(self.next_s), self.next_age, self.best)
        moving = self.moving.measured_by(self.best)
        given = np.maximum(moving.between(self.all, np.maximum(own_age, age), age), 0.0)
        able = ~begun & (night > 0) & (age > 0)

        def choose(
            kept: Floats, able: Bools, longer: Callable[[Ints, Bools], Ints] | None
        ) -> NightChoice:
            return choose_swaps(
                self.machine,
                len(begin),
                kept,
                fresh,
                given + _LEAST_COST * self.planned,
                able,
                self.allowed,
                self.extra,
                self.weight,
                longer,
            )

        late = self.late & ~begun
        if not self.nights and late.any():
            # a swap that comes too late stays planned if the limit needs it, and others are
            # chosen that do without it
            signs, ages = left.signs.where(late, self.signs), np.where(late, stays_age, age)
            longer = self._longer(begin, end, ages, signs)
            others = choose(np.where(late, stays, kept), able & ~late, longer)
            needed = choose(kept, able, None).swap & late
            choice = replace(others, swap=others.swap | needed)
        else:
            choice = choose(kept, able, self._longer(begin, end, age, self.signs))
        cut_age, new = np.where(begun, stays_age, age), ~begun & (fresh < kept)
        rows = np.flatnonzero(choice.swap)
        self.next_s[rows], self.next_age[rows] = at[rows], age[rows]
        self.next_why[rows], self.next_stop[rows] = UNATTENDED, OWN
        self._found.append(self._event(rows))
        made = np.concatenate([event.row for event in self._found[left.events :]])
        self._renew(rows, at[rows])
        self.nights.append(
            NightSeen(
                begin,
                end,
                choice,
                left=left,
                stays_age=stays_age,
                age=np.where(choice.swap, 0.0, cut_age),
                signs=left.signs.where(begun, self.signs),
                swaps=np.where(begun, 0, np.bincount(made, minlength=len(self.all))),
                stays=stays,
                hazard=np.where(choice.swap, fresh, kept),
                own=kept,
                breaks=broke + self._breaks(np.where(new, 0.0, cut_age), night),
                spent=spent,
            )
        )

    def _longer(
        self, begin: Floats, end: Floats, age: Floats, signs: EdgeSigns
    ) -> Callable[[Ints, Bools], Ints]:
        """Chooses the edges of a machine to swap so that it makes most before its stop."""

        def chosen(rows: Ints, able: Bools) -> Ints:
            index = int(self.machine[rows[0]])
            weight = self.weight[rows, None]
            new = self.curve(rows, np.zeros(len(rows)), begin, end, NO_SIGNS.spread(rows.shape))
            seconds = np.linspace(begin[index], end[index], POINTS + 1)
            stop = StopAhead(
                seconds,
                self.machines[index].segments.parts_at(seconds),
                weight * self.curve(rows, age[rows], begin, end, signs.take(rows)),
                weight * new,
                float(self.allowed[index]),
            )
            return rows[most_before_stop(stop, able, self.swap_minutes[rows])]

        return chosen

    def curve(
        self, rows: Ints, age: Floats, begin: Floats, end: Floats, signs: EdgeSigns
    ) -> Floats:
        """Cumulative hazard of edges of an age up to points of a stretch, shape (rows, points).

        Args:
            rows: The edges.
            age: Age of each at the begin.
            begin: Begin of each machine's stretch, shape (machines,).
            end: End, same shape.
            signs: What is known of each edge beside.
        """
        machine = self.machine[rows]
        shares = np.linspace(0.0, 1.0, POINTS + 1)[1:]
        seconds = begin[machine, None] + shares * (end - begin)[machine, None]
        each, every = np.repeat(rows, POINTS), np.repeat(np.arange(len(rows)), POINTS)
        worn = self.lines.at(rows, begin[machine])
        ahead = np.maximum(self.lines.at(each, seconds.reshape(-1)) - worn[every], 0.0)
        table = np.zeros((len(rows), POINTS + 1))
        found = self.hazard(each, age[every], ahead, signs.take(every))
        table[:, 1:] = found.reshape(-1, POINTS)
        return table

    def _spent(self, begun: Bools) -> tuple[Floats, Floats]:
        """Hazard of what is over of stretches in progress, and that of breakage alone."""
        worn = np.where(begun, self.begun.worn, 0.0)
        return self.spent_by(self.all, worn), self._breaks(self._age_then(self.all), worn)

    def spent_by(self, rows: Ints, worn: Floats) -> Floats:
        """Hazard of edges as they were over wear from the begin of what is over on."""
        age = self._age_then(rows)
        return self.hazard(rows, age, worn, signs_then(self._signs_now.take(rows), age))

    def _age_then(self, rows: Ints) -> Floats:
        return self.begun.age_then(self._age_now)[rows]

    def _breaks(self, age: Floats, night: Floats) -> Floats:
        """Hazard of breakage alone over so much wear, scaled."""
        failed = self.model.break_probability(self.key, age, night, self.rate)
        hazard: Floats = -np.log1p(-np.minimum(failed, 1 - 1e-15)) * self.scale
        return hazard

    def hazard(self, rows: Ints, age: Floats, ahead: Floats, signs: EdgeSigns) -> Floats:
        """Cumulative hazard of edges of an age over so much wear ahead in a stretch, scaled."""
        failed = self.model.fail_probability(self.key[rows], age, ahead, self.rate[rows], signs)
        hazard: Floats = -np.log1p(-np.minimum(failed, 1 - 1e-15)) * self.scale
        return hazard
