"""What can be done with a machine while nobody is there, with figures, and the one to choose.

The options are to run through as it stands, to run through after swaps, to run until an
instant, and to let it stand. The answer is the one that gives the most parts within the limit
for the fewest swaps; a higher limit never makes it more careful. Where no swaps keep the limit
through the stretch, those are asked for that gain more parts before the stop than they cost.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.planning.early_stop import LEAST_RUN_S, StopAhead, most_before_stop
from crib.planning.night import (
    LEAST_GAIN,
    Carrier,
    MachineNight,
    NightEdges,
    carriers_of,
    chance_of,
)
from crib.planning.night_begun import NightBegun
from crib.planning.night_choice import cheapest_cover

#: Kinds of options, the least careful first.
RUN, SWAP, UNTIL, STAND = "run", "swap", "until", "stand"
#: Kinds of answers that are no options: nothing is cut, or the chance is not known.
IDLE, LOOK = "idle", "look"

#: Rounding alone does not make a limit that is just kept one that is not.
_GRACE: Final = 1e-12


@dataclass(frozen=True, slots=True)
class Swap:
    """A swap to make before the stretch.

    Attributes:
        station_id: Its station.
        minutes: Minutes of all swaps there; None: not known.
        takes_off: Cumulative hazard that it takes off the stretch.
    """

    station_id: int
    minutes: float | None
    takes_off: float


@dataclass(frozen=True, slots=True)
class Option:
    """One thing to do.

    Attributes:
        kind: ``RUN``, ``SWAP``, ``UNTIL`` or ``STAND``.
        fail_probability: Chance that an edge fails in what is run.
        parts: Parts made if none does.
        swaps: Swaps to make first, in the order of the stations.
        until_us: When to stop [µs]; None: not before the end.
        loss_minor: Expected cost of failures, at the failure cost of the tool specs
            [hundredths]; None where one of them that carries risk gives none.
        carriers: Edges that carry most of the chance, the worst first.
    """

    kind: str
    fail_probability: float = 0.0
    parts: int = 0
    swaps: tuple[Swap, ...] = ()
    until_us: int | None = None
    loss_minor: float | None = 0.0
    carriers: tuple[Carrier, ...] = ()

    @property
    def minutes(self) -> float | None:
        """Minutes of all its swaps; None where one of them is not known."""
        total = 0.0
        for swap in self.swaps:
            if swap.minutes is None:
                return None
            total += swap.minutes
        return total


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do with a stretch.

    Attributes:
        kind: Kind of the option to choose, or ``IDLE`` or ``LOOK``.
        options: What can be done, the least careful first; none of an idle stretch or one
            whose chance is not known.
        missing: Stations whose swap would help, but that cannot be swapped in time.
        reached_us: When the limit of a stretch in progress was reached [µs]; None: not yet.
    """

    kind: str
    options: tuple[Option, ...] = ()
    missing: tuple[int, ...] = ()
    reached_us: int | None = None

    @property
    def chosen(self) -> Option | None:
        """The option to choose; None where there is none."""
        return self.option(self.kind)

    def option(self, kind: str) -> Option | None:
        """The option of a kind, if there is one."""
        return next((one for one in self.options if one.kind == kind), None)


@dataclass(frozen=True, slots=True)
class Prices:
    """What the records say of the swaps and failures of a machine, by station.

    Attributes:
        minutes: Minutes of one swap.
        failure_minor: What a failure costs [hundredths].
        cannot: Stations whose sister is not ready in time.
    """

    minutes: Mapping[int, float | None]
    failure_minor: Mapping[int, int | None]
    cannot: frozenset[int] = frozenset()


NO_PRICES: Final = Prices({}, {})


def decide(night: MachineNight, prices: Prices = NO_PRICES) -> Decision:
    """The options of a stretch and the one to choose.

    Args:
        night: The stretch.
        prices: What is known of its stations.
    """
    edges = night.edges
    if not night.known:
        return Decision(LOOK)
    if edges is None or night.stands:
        return Decision(IDLE)
    if float(edges.stays[:, -1].sum() - edges.stays[:, 0].sum()) <= 0:
        return Decision(IDLE)
    if night.failed:
        return Decision(STAND, (Option(STAND),))
    return _Deciding(edges, night.limit.allowed, prices, night.over).decision()


class _Deciding:
    """The figures that a decision is made of."""

    def __init__(
        self,
        edges: NightEdges,
        allowed: float,
        prices: Prices,
        over: NightBegun | None = None,
    ) -> None:
        self.edges, self.prices, self.allowed, self.over = edges, prices, allowed, over
        self.relief = np.maximum(edges.stays[:, -1] - edges.swapped[:, -1], 0.0)
        self.counts = edges.counted(self.relief)
        offered = (edges.swaps > 0) & (self.relief > 0)
        cannot = np.isin(edges.station_ids, np.array([*prices.cannot], dtype=np.int64))
        self.able, self.missing = offered & ~cannot, offered & cannot
        self.nothing = np.zeros(len(edges.station_ids), dtype=np.bool_)

    def decision(self) -> Decision:
        edges = self.edges
        need = float(edges.counted(edges.stays[:, -1]).sum()) - self.allowed
        run, stand = self._through(RUN, self.nothing), Option(STAND)
        if need <= 0:
            due = [self._through(SWAP, self.able)] if self.able.any() else []
            return Decision(RUN, (run, *due, stand))
        if float(self.counts[self.able].sum()) >= need * (1 - _GRACE):
            chosen = self._fewest_minutes(need)
            until = self._until(self.nothing)
            options = [run, self._through(SWAP, chosen)]
            return Decision(SWAP, (*options, *([until] if until else []), stand))
        helping = self.able & (self.relief > LEAST_GAIN)
        late = tuple(edges.station_ids[self.missing & (self.relief > LEAST_GAIN)].tolist())
        swapped = [self._through(SWAP, helping)] if helping.any() else []
        until = self._until(self._for_longer(helping))
        if until is None:
            return Decision(STAND, (run, *swapped, stand), late, self._reached())
        return Decision(UNTIL, (run, *swapped, until, stand), late)

    def _fewest_minutes(self, need: float) -> Bools:
        """The swaps that keep the limit in the fewest minutes."""
        rows = np.flatnonzero(self.able & (self.counts > 0))
        cost = self._all_minutes(rows)
        picked = cheapest_cover(cost.tolist(), self.counts[rows].tolist(), need * (1 - _GRACE))
        chosen = self.nothing.copy()
        chosen[rows[picked]] = True
        return chosen

    def _for_longer(self, able: Bools) -> Bools:
        """The swaps with which the machine makes most before it has to stop."""
        if not able.any():
            return able
        edges = self.edges
        stop = StopAhead(
            edges.seconds,
            edges.machine.segments.parts_at(edges.seconds),
            edges.counted(edges.stays),
            edges.counted(edges.swapped),
            self.allowed,
        )
        # only the last swap of a station is made for the night's sake
        minutes = np.zeros(len(able))
        rows = np.flatnonzero(able)
        minutes[rows] = self._all_minutes(rows) / np.maximum(edges.swaps[rows], 1)
        return most_before_stop(stop, able, minutes)

    def _all_minutes(self, rows: Ints) -> Floats:
        """Minutes of swaps; as many as the others take where they are not known."""
        spent = [self._minutes(row) for row in rows.tolist()]
        known = [one for one in spent if one is not None]
        usual = float(np.mean(known)) if known else 1.0
        return np.array([usual if one is None else one for one in spent])

    def _minutes(self, row: int) -> float | None:
        one = self.prices.minutes.get(int(self.edges.station_ids[row]))
        return None if one is None else one * max(int(self.edges.swaps[row]), 1)

    def _through(self, kind: str, chosen: Bools) -> Option:
        hazard = np.where(chosen, self.edges.swapped[:, -1], self.edges.stays[:, -1])
        return self._option(kind, chosen, hazard, float(self.edges.seconds[-1]))

    def _until(self, chosen: Bools) -> Option | None:
        """Run until the limit is reached; None where that is not worth a start.

        But for edges that stop being young in between, the hazard bends upwards between the
        points, so the straight line lies above it: the second found is a little early.
        """
        edges = self.edges
        curves = np.where(chosen[:, None], edges.swapped, edges.stays)
        counted = edges.counted(curves).sum(axis=0)
        second = float(np.interp(self.allowed, counted, edges.seconds))
        until_us = edges.machine.time.clock_at(second)
        if self._run_s(second, until_us) < LEAST_RUN_S:
            return None
        hazard = np.array([np.interp(second, edges.seconds, curve) for curve in curves])
        option = self._option(UNTIL, chosen, hazard, second)
        return replace(option, until_us=until_us) if option.parts else None

    def _run_s(self, second: float, until_us: int) -> float:
        """How long a run up to a running second is; what is over of the stretch counts."""
        if self.over is not None:
            return (until_us - self.over.begin_us) / 1e6
        return second - float(self.edges.seconds[0])

    def _reached(self) -> int | None:
        """When what is over of the stretch spent the limit [µs]; None: not yet."""
        if self.over is None or self.edges.spent is None:
            return None
        spent = self.edges.counted(self.edges.spent).sum(axis=0)
        if spent[-1] < self.allowed:
            return None
        return round(float(np.interp(self.allowed, spent, self.over.at_us)))

    def _option(self, kind: str, chosen: Bools, hazard: Floats, second: float) -> Option:
        edges = self.edges
        made = edges.machine.segments.parts_at([float(edges.seconds[0]), second])
        return Option(
            kind,
            chance_of(float(hazard.sum())),
            math.floor(float(made[1] - made[0]) + 1e-6),
            tuple(
                Swap(int(edges.station_ids[row]), self._minutes(row), float(self.relief[row]))
                for row in np.flatnonzero(chosen).tolist()
            ),
            None,
            self._loss(edges.station_ids, hazard),
            carriers_of(edges.station_ids.tolist(), hazard),
        )

    def _loss(self, stations: Ints, hazard: Floats) -> float | None:
        """Expected number of failures of each edge times its cost."""
        total = 0.0
        for station, expected in zip(stations.tolist(), hazard.tolist(), strict=True):
            if expected <= 0:
                continue
            cost = self.prices.failure_minor.get(station)
            if cost is None:
                return None
            total += cost * expected
        return total
