"""One plan of all swaps: the next of every station, the nights, and what follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.model import LifeModel
from crib.planning.attended import Attended
from crib.planning.due import EARLY, PROBS, EdgesDue, MachineAhead, MountedEdge
from crib.planning.first_swaps import first_swaps
from crib.planning.moving_cost import STEP_SHARE, MovingCost
from crib.planning.night import NIGHT_LIMIT, MachineNight, NightLimit
from crib.planning.night_begun import NightsBegun
from crib.planning.night_report import report_nights
from crib.planning.own_points import own_points
from crib.planning.stops_ahead import NO_STOPS, Stops
from crib.planning.succession import Succession
from crib.planning.swaps import UNATTENDED, StationPlan, sentence_of_successor
from crib.planning.wear_lines import WearLines


@dataclass(frozen=True, slots=True)
class LaterSwaps:
    """Swaps of a horizon in columns, by station in order of time, the first one included.

    Attributes:
        row: Edge in the station now, shape (swaps,).
        ordinal: 0 for that edge, 1 for its successor, …
        seconds: Running second.
        at_us: Instant [µs].
        age: Wear of the edge that comes out.
        why: Place in ``WHYS``.
        stop: Kind of stop joined (``stops_ahead.KINDS``).
        cost_if_earlier: Cost of swapping a quarter of a life earlier, NaN for due now.
        cost_if_later: The same later.
        step_parts: That quarter in parts like the next one.
        ready_us: Instant by which the sister has to be ready [µs]: the swap's, or before it
            when one in ten edges like the one that comes out has failed.
    """

    row: Ints
    ordinal: Ints
    seconds: Floats
    at_us: Ints
    age: Floats
    why: Ints
    stop: Ints
    cost_if_earlier: Floats
    cost_if_later: Floats
    step_parts: Floats
    ready_us: Ints


@dataclass(slots=True)
class PlannedSwaps:
    """The swaps of a shop.

    Attributes:
        stations: Next swap of every mounted edge, in the order of the edges.
        nights: Unattended stretches of the machines ahead, the next ones first.
        due: What lies ahead of the edges.
    """

    stations: list[StationPlan]
    nights: list[MachineNight]
    due: EdgesDue
    _walk: Succession | None = None
    _attended: Attended | None = None
    _moving: MovingCost | None = None
    _night_sentences: dict[tuple[int, float], str] = field(default_factory=dict)

    def up_to(self, horizon_us: int, horizon_s: Floats) -> LaterSwaps:
        """Every swap up to a horizon; a longer one only adds to a shorter one.

        Args:
            horizon_us: Its instant [µs].
            horizon_s: The same as running second of each machine.
        """
        walk, attended, moving = self._walk, self._attended, self._moving
        if walk is None or attended is None or moving is None:
            none, never = np.empty(0), np.empty(0, dtype=np.int64)
            return LaterSwaps(
                never, never, none, never, none, never, never, none, none, none, never
            )
        walk = walk.gone_on(horizon_s)
        found = walk.events()
        at_us = attended.clock_us(walk.machine[found.row], found.seconds)
        kept = np.flatnonzero((at_us >= 0) & (at_us <= horizon_us))
        kept = kept[np.argsort(found.row[kept], kind="stable")]
        row = found.row[kept]
        begins = np.flatnonzero(np.diff(row, prepend=-1))
        ordinal = np.arange(len(row)) - np.repeat(begins, np.diff(begins, append=len(row)))
        earlier, later = moving.steps(row, found.age[kept], np.zeros(len(row)))
        return LaterSwaps(
            row,
            ordinal,
            found.seconds[kept],
            at_us[kept],
            found.age[kept],
            found.why[kept],
            found.stop[kept],
            earlier,
            later,
            STEP_SHARE * walk.own.best_age[row] / walk.rate[row],
            self._ready_us(walk, attended, row, ordinal, found.seconds[kept], at_us[kept]),
        )

    def _ready_us(
        self,
        walk: Succession,
        attended: Attended,
        row: Ints,
        ordinal: Ints,
        seconds: Floats,
        at_us: Ints,
    ) -> Ints:
        """When the sisters of swaps have to be ready [µs]."""
        failed_us = self.due.run_out_us[row, EARLY].copy()
        later = np.flatnonzero(ordinal > 0)
        if later.size:
            rows = row[later]
            since = walk.lines.at(rows, seconds[later - 1])
            fresh = walk.model.remaining(
                walk.key[rows], np.zeros(len(rows)), walk.rate[rows], (PROBS[EARLY],)
            ).reshape(-1)
            at = walk.lines.until(rows, since + fresh)
            failed_us[later] = attended.clock_us(walk.machine[rows], at)
        return np.where(failed_us >= 0, np.minimum(failed_us, at_us), at_us)

    def runs_to_failure(self, row: int) -> bool:
        """Whether the edges of a station that are still to come are run until they fail."""
        return self._walk is not None and bool(self._walk.own.to_failure[row])

    def sentence(self, row: int, seconds: float, why: int, stop: int, age: float) -> str:
        """Why a swap after the first comes when it does, in words."""
        if why == UNATTENDED:
            told = self._night_sentences.get((row, seconds))
            if told is not None:
                return told
        # the edge that comes out is a new one, whatever was seen of the one mounted now
        best = self.stations[row].swap_age
        if self._walk is not None:
            best = float(self._walk.own.best_age[row])
        return sentence_of_successor(why, stop, best, age)


def plan_swaps(
    machines: Sequence[MachineAhead],
    edges: Sequence[MountedEdge],
    due: EdgesDue,
    model: LifeModel,
    *,
    stops: Sequence[Stops] | None = None,
    minute_cost: float = 0.0,
    limit: float | Sequence[NightLimit] = NIGHT_LIMIT,
    scale: float = 1.0,
    begun: NightsBegun | None = None,
    late: Bools | None = None,
) -> PlannedSwaps:
    """Plan every swap of the machines.

    Args:
        machines: Their time and work ahead.
        edges: The mounted edges.
        due: What lies ahead of them.
        model: The life model.
        stops: Stops of each machine that are made anyway; None for none.
        minute_cost: Cost of a minute of a machine, in the currency of the edges' costs; at 0
            no swap comes forward to share a stop.
        limit: What is accepted of an unattended stretch of each machine; or a chance of a
            failure, for all of them.
        scale: Factor on the chances of those stretches (``night_scale``).
        begun: Those in progress; None where there are none.
        late: Edges whose swap cannot be made before the next of them, shape (edges,); None:
            none is known to be.
    """
    if not edges:
        return PlannedSwaps([], [], due)
    lines = WearLines(due.lines)
    own, moving = own_points(edges, due, model, lines)
    attended = Attended([machine.time for machine in machines])
    walk = Succession(
        machines,
        attended,
        edges,
        due,
        lines,
        own,
        moving,
        model,
        stops if stops is not None else [NO_STOPS] * len(machines),
        minute_cost,
        [NightLimit(limit)] * len(machines) if isinstance(limit, float) else limit,
        scale,
        begun,
        late,
    )
    walk.keep_nights()
    nights, told = report_nights(machines, edges, walk)
    return PlannedSwaps(
        first_swaps(edges, due, walk, moving, told),
        nights,
        due,
        walk,
        attended,
        moving,
        told,
    )
