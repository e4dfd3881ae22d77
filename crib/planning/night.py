"""An unattended stretch of a machine: what may fail in it, and which swaps are worth a stop.

Edges fail independently: a machine's chance of a failure is one minus the product of its edges'
chances to live, so their cumulative hazards add up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats, Ints
from crib.planning.due import MachineAhead
from crib.planning.night_begun import NightBegun
from crib.planning.night_choice import cheapest_cover

#: Chance of a failure that a machine may run with through an unattended stretch where nobody
#: gave it a limit of its own. A failure ends the run and spoils some parts; at this limit that
#: happens at most once in twenty nights (common practice, no source).
NIGHT_LIMIT = 0.05

#: A swap has to take so much off a stretch's hazard to be worth a stop (common practice, no
#: source); the same for every limit, or a higher one could ask for other swaps.
LEAST_GAIN = 0.001

#: Where no swaps keep the limit, those are worth a stop that let the machine make more before
#: its own (``early_stop``), and those that take off half of their own edge's chance: a nearly
#: new edge is not changed for another new one.
MOST_LEFT = 0.5

#: And of these only those that cost no more than so many times the failures they prevent: one
#: that nobody sees spoils parts until somebody comes (common practice, no source).
DARK_PRICE = 3.0

#: Rounding alone does not break a limit that is just kept.
_ROUNDING = 1e-12

#: Edges named that carry most of what is left.
_NAMED = 3


def allowed_hazard(limit: ArrayLike) -> Floats:
    """Cumulative hazard that a chance of a failure stands for; infinite at 1."""
    with np.errstate(divide="ignore"):
        hazard: Floats = -np.log1p(-np.minimum(np.asarray(limit, dtype=np.float64), 1.0))
    return hazard


def chance_of(hazard: float) -> float:
    """Chance that anything fails under a cumulative hazard."""
    return float(-np.expm1(-hazard))


@dataclass(frozen=True, slots=True)
class NightLimit:
    """What a supervisor accepts of an unattended stretch of one machine.

    Attributes:
        chance: Chance of a failure.
        loss_minor: Expected loss by failures [hundredths], which counts instead of the chance;
            None: the chance counts.
        lacking: Tool specs without a failure cost, for which a loss cannot be worked out: the
            chance counts until they have one.
    """

    chance: float = NIGHT_LIMIT
    loss_minor: float | None = None
    lacking: tuple[str, ...] = ()

    @property
    def allowed(self) -> float:
        """How much may come together: a loss [hundredths], or else a cumulative hazard."""
        return (
            float(allowed_hazard(self.chance)) if self.loss_minor is None else self.loss_minor
        )


@dataclass(frozen=True, slots=True)
class Carrier:
    """An edge that carries part of a stretch's risk, by itself.

    Attributes:
        station_id: Its station.
        fail_probability: Its own chance to fail in the stretch, swaps made.
    """

    station_id: int
    fail_probability: float


@dataclass(frozen=True, slots=True)
class NightEdges:
    """The edges of a machine over one stretch.

    Attributes:
        machine: The machine's time and work ahead.
        station_ids: Station of each edge, shape (edges,).
        seconds: Running seconds from the begin of the stretch, or from now where it has begun,
            to its end, shape (points,).
        stays: Cumulative hazard of each edge from the begin of the stretch to then if nothing
            is swapped before it, shape (edges, points).
        swapped: The same if what is due before it, or was brought forward for it, is swapped.
        swaps: Swaps of each before it, shape (edges,); 0: none is due.
        weight: What its hazard counts for against the limit, shape (edges,): its failure cost
            [hundredths] under a limit of the loss; None: 1.
        spent: Cumulative hazard of each by the instants of ``NightBegun``, shape (edges,
            instants); None where the stretch has not begun.
    """

    machine: MachineAhead
    station_ids: Ints
    seconds: Floats
    stays: Floats
    swapped: Floats
    swaps: Ints
    weight: Floats | None = None
    spent: Floats | None = None

    def counted(self, hazard: Floats) -> Floats:
        """Hazards of the edges as they count against the limit, shape (edges, ...)."""
        if self.weight is None:
            return hazard
        weight = self.weight if hazard.ndim == 1 else self.weight[:, None]
        counted: Floats = weight * hazard
        return counted


@dataclass(frozen=True, slots=True)
class MachineNight:
    """One unattended stretch of one machine.

    Attributes:
        machine: Its name.
        begin_us: Begin [µs].
        end_us: End [µs].
        as_it_stands: Chance that an edge fails in it if nothing is swapped before.
        as_planned: The same with the swaps that are due before it anyway.
        with_swaps: The same after the swaps that this rule adds, too.
        floor: The same if every edge were swapped that a fresh one is better than.
        breakage: Chance that one of those breaks or chips, worn or not: no swap lowers it.
        added: Stations whose swap it brought forward.
        limit: What the supervisor accepts for this machine.
        ordinal: 0 for the machine's next stretch, 1 for the one after it, …
        scale: Factor that all its chances stand under, from how earlier stretches went.
        unknown: Stations whose edge's chance could not be worked out.
        begun: Whether it is in progress: nobody is there to swap.
        over: What was run of it already; None where nothing was. All chances count it.
        stands: Whether the machine stands, and nobody starts it before the stretch is over.
        jobless: Parts made for no known job: the edges are worn by more than is known.
        edges: Its edges; None where nothing is known of any.
    """

    machine: str
    begin_us: int
    end_us: int
    as_it_stands: float
    as_planned: float
    with_swaps: float
    floor: float
    breakage: float
    added: tuple[int, ...]
    limit: NightLimit
    ordinal: int = 0
    scale: float = 1.0
    unknown: tuple[int, ...] = ()
    begun: bool = False
    over: NightBegun | None = None
    stands: bool = False
    jobless: int = 0
    edges: NightEdges | None = None

    @property
    def safe(self) -> bool:
        """Whether the limit is kept once the added swaps are made; never with one unknown."""
        if not self.known or self.failed:
            return False
        if self.limit.loss_minor is None or self.edges is None:
            return self.with_swaps <= self.limit.chance
        loss = float(self.edges.counted(self.edges.swapped[:, -1]).sum())
        return loss <= self.limit.allowed * (1 + _ROUNDING)

    @property
    def over_limit(self) -> bool:
        """Whether the limit is broken if nothing is swapped before it."""
        if self.edges is None:
            return False
        spent = float(self.edges.counted(self.edges.stays[:, -1]).sum())
        return spent > self.limit.allowed * (1 + _ROUNDING)

    @property
    def known(self) -> bool:
        """Whether the chances leave nothing out."""
        return not self.unknown and not self.jobless

    @property
    def failed(self) -> tuple[int, ...]:
        """Stations whose edge failed in it already."""
        return self.over.failed if self.over else ()

    @property
    def since_us(self) -> int:
        """From when on its chances count [µs]."""
        return self.over.since_us if self.over else self.begin_us

    @property
    def spent(self) -> float:
        """Chance that an edge failed in what is over of it."""
        return chance_of(float(self.edges.stays[:, 0].sum())) if self.edges else 0.0

    @property
    def job_ends_us(self) -> int | None:
        """When the last job before it ends [µs]; None where none does, or one goes on in it."""
        if self.edges is None:
            return None
        segments, begin_s = self.edges.machine.segments, float(self.edges.seconds[0])
        end_s = float(self.edges.seconds[-1])
        starts_s = np.concatenate([[0.0], segments.end_s[:-1]])
        works = (segments.run >= 0) & (segments.parts > 0) & (starts_s < end_s)
        if not works.any():
            return None
        last_s = float(segments.end_s[works].max())
        return self.edges.machine.time.clock_at(last_s) if last_s <= begin_s else None


@dataclass(frozen=True, slots=True)
class NightChoice:
    """What the rule says of all machines in their stretches of one ordinal.

    Attributes:
        swap: Edges to swap before the stretch, shape (edges,).
        before: Chance of a failure as planned, shape (machines,).
        after: The same with the swaps.
        floor: The same with every swap that helps.
    """

    swap: Bools
    before: Floats
    after: Floats
    floor: Floats


def choose_swaps(
    machine: Ints,
    machines: int,
    kept: Floats,
    fresh: Floats,
    given_away: Floats,
    able: Bools,
    allowed: float | Floats,
    failure_extra: Floats | None = None,
    weight: float | Floats = 1.0,
    longer: Callable[[Ints, Bools], Ints] | None = None,
) -> NightChoice:
    """Choose swaps before a stretch, the cheapest per risk removed, until under the limit.

    Where no swaps keep the limit, those remain that let the machine run on for longer, and
    those that help much (``MOST_LEFT``) and are worth it (``DARK_PRICE``).

    Args:
        machine: Machine of each edge, shape (edges,).
        machines: How many there are.
        kept: Cumulative hazard of each edge over the stretch if it stays, same shape.
        fresh: The same of a new edge in its place.
        given_away: What swapping it before the stretch costs, in any one currency.
        able: Whether it can be swapped then: in a machine with somebody there before.
        allowed: How much may come together in each machine, or in all of them.
        failure_extra: What a failure of each costs over a swap, in that currency; None: not
            asked.
        weight: What the hazard of each counts for in that.
        longer: Which edges of a machine to swap so that it runs on for longer, from its edges
            and which of them can be swapped; None: not asked.
    """
    count = (machines,)
    relief = np.where(able, np.maximum(kept - fresh, 0.0), 0.0)
    total, off = np.zeros(count), np.zeros(count)
    np.add.at(total, machine, kept)
    np.add.at(off, machine, relief)
    counts = weight * relief
    counted, counted_off = np.zeros(count), np.zeros(count)
    np.add.at(counted, machine, weight * kept)
    np.add.at(counted_off, machine, counts)
    need = counted - allowed
    over = need > 0
    # a hair of grace, or rounding alone would call a limit that is just kept out of reach
    reachable = over & (counted_off >= need * (1 - _ROUNDING))
    gain = able & (relief > LEAST_GAIN)
    beyond = gain & (over & ~reachable)[machine]
    swap = beyond & (fresh <= kept * MOST_LEFT)
    if failure_extra is not None:
        swap &= given_away <= DARK_PRICE * failure_extra * relief
    if longer is not None:
        for one in np.unique(machine[beyond]).tolist():
            members = np.flatnonzero(machine == one)
            swap[longer(members, beyond[members])] = True
    rows = np.flatnonzero(reachable[machine] & (counts > 0))
    rows = rows[np.argsort(machine[rows], kind="stable")]
    bounds = np.flatnonzero(np.diff(machine[rows])) + 1
    for members in np.split(rows, bounds):
        if members.size:
            wanted = float(need[machine[members[0]]])
            chosen = _cover(members, given_away, counts, gain, wanted)
            swap[chosen] = True
    left = np.zeros(count)
    np.add.at(left, machine, kept - np.where(swap, relief, 0.0))
    # both are sums of the same terms, and rounding must not put the floor above
    least = np.minimum(left, total - off)
    before, after, floor = (-np.expm1(-hazard) for hazard in (total, left, least))
    return NightChoice(swap, before, after, floor)


def _cover(members: Ints, cost: Floats, relief: Floats, gain: Bools, need: float) -> Ints:
    """Leave out swaps that hardly help, unless the limit is out of reach without them."""
    worth = members[gain[members]]
    some = worth if relief[worth].sum() >= need else members
    picked = cheapest_cover(
        np.maximum(cost[some], 0.0).tolist(), relief[some].tolist(), need * (1 - _ROUNDING)
    )
    return some[np.array(picked, dtype=np.int64)]


def carriers_of(
    station_ids: Sequence[int], hazard: Floats, named: int = _NAMED
) -> tuple[Carrier, ...]:
    """The edges that carry most of a risk, the worst first.

    Args:
        station_ids: Station of each edge of the machine.
        hazard: Cumulative hazard of each over the stretch.
        named: How many at most.
    """
    order = np.argsort(-hazard, kind="stable")[:named]
    return tuple(
        Carrier(station_ids[i], float(-np.expm1(-hazard[i])))
        for i in order.tolist()
        if hazard[i] > 0
    )
