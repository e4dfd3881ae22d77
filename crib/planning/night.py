"""Whether each machine lives through its unattended stretches, and what would make it so.

Edges fail independently: a machine's chance of a failure is one minus the product of its edges'
chances to live, so their cumulative hazards add up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.planning.night_choice import cheapest_cover
from crib.sentence import figure, sentence

#: Chance of a failure that a machine may run with through an unattended stretch.
NIGHT_LIMIT = 0.02

#: Share of the limit that a swap has to take off the night's chance to be worth a stop.
LEAST_GAIN = 0.05

#: Where no swaps keep the limit, only those are worth a stop that take off half of their own
#: edge's chance: a nearly new edge is not changed for another new one.
MOST_LEFT = 0.5

#: And then only those that cost no more than so many times the failures they prevent: one that
#: nobody sees spoils parts until somebody comes (common practice, no source).
DARK_PRICE = 3.0

#: A factor nearer to 1 than this is not told.
TOLD_SCALE = 0.1

#: Edges named that carry most of what is left.
_NAMED = 3


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
class MachineNight:
    """One unattended stretch of one machine.

    Attributes:
        machine: Its name.
        begin_us: Begin [µs].
        end_us: End [µs].
        as_planned: Chance that an edge fails in it with the swaps planned anyway.
        with_swaps: The same after the swaps that this rule adds.
        floor: The same if every edge were swapped that a fresh one is better than.
        breakage: Chance that one of those breaks or chips, worn or not: no swap lowers it.
        added: Stations whose swap it brought forward.
        limit: Chance that was asked for.
        ordinal: 0 for the machine's next stretch, 1 for the one after it, …
        run_until_us: Where the limit is not kept: when the chance reaches it [µs], the swaps
            made; stop the machine by then, or accept ``with_swaps``. None where it is kept,
            and for later stretches.
        run_until_parts: Parts from the begin of the stretch (or now) until then.
        carriers: The edges that carry most of what is left, the worst first.
        scale: Factor that all its chances stand under, from how earlier stretches went.
        left_out: Swaps that would help but are not worth it, where none keep the limit.
        unknown: Stations whose edge's chance could not be worked out.
        begun: Whether it is in progress: nobody is there to swap.
        stands: Whether the machine stands, and nobody starts it before the stretch is over.
        jobless: Parts made for no known job: the edges are worn by more than is known.
    """

    machine: str
    begin_us: int
    end_us: int
    as_planned: float
    with_swaps: float
    floor: float
    breakage: float
    added: tuple[int, ...]
    limit: float
    ordinal: int = 0
    run_until_us: int | None = None
    run_until_parts: int | None = None
    carriers: tuple[Carrier, ...] = ()
    scale: float = 1.0
    left_out: int = 0
    unknown: tuple[int, ...] = ()
    begun: bool = False
    stands: bool = False
    jobless: int = 0

    @property
    def safe(self) -> bool:
        """Whether the limit is kept once the added swaps are made; never with one unknown."""
        return self._kept and not self.unknown and not self.jobless

    @property
    def _kept(self) -> bool:
        return self.with_swaps <= self.limit

    @property
    def sentence(self) -> str:
        """What to make of it, in words, and the factor where it tells."""
        told = self._chances
        if self.jobless:
            parts = (
                sentence("1 part")
                if self.jobless == 1
                else sentence("{jobless} parts", jobless=self.jobless)
            )
            return sentence(
                "Not known to be safe: {parts} without a job, so that nobody knows "
                "what the edges cut. Say which run made them.",
                parts=parts,
            )
        if self.unknown:
            count = len(self.unknown)
            edges = sentence("1 edge") if count == 1 else sentence("{count} edges", count=count)
            return sentence(
                "Not known to be safe: the forecast of {edges} could not be worked "
                "out. Look at them before you leave. The others: {told}",
                edges=edges,
                told=told,
            )
        if self.as_planned <= 0 or abs(self.scale - 1) <= TOLD_SCALE:
            return told
        if self.scale < 1:
            return sentence(
                "{told} Earlier nights went better than forecast: the chance is "
                "scaled by {scale}.",
                told=told,
                scale=figure(self.scale, ".2f"),
            )
        return sentence(
            "{told} Earlier nights went worse than forecast: the chance is scaled by {scale}.",
            told=told,
            scale=figure(self.scale, ".2f"),
        )

    @property
    def _chances(self) -> str:
        if self.as_planned <= 0 and self.stands:
            return sentence("The machine stands: no edge cuts in it unless somebody starts it.")
        if self.as_planned <= 0:
            return sentence("As planned no edge cuts in it.")
        if self.as_planned <= self.limit:
            return sentence(
                "As planned the chance of a failure is {as_planned}, within the "
                "limit of {limit}.",
                as_planned=figure(self.as_planned, ".1%"),
                limit=figure(self.limit, ".1%"),
            )
        swaps = (
            sentence("{added} swap before it", added=len(self.added))
            if len(self.added) == 1
            else sentence("{added} swaps before it", added=len(self.added))
        )
        if self._kept:
            return sentence(
                "With {swaps} the chance of a failure falls from {as_planned} to "
                "{with_swaps}, within the limit of {limit}.",
                swaps=swaps,
                as_planned=figure(self.as_planned, ".1%"),
                with_swaps=figure(self.with_swaps, ".1%"),
                limit=figure(self.limit, ".1%"),
            )
        helped = (
            sentence("With {swaps}", swaps=swaps)
            if self.added
            else sentence("As planned, since no swap helps much,")
        )
        if self.begun and not self.added:
            over: str = sentence(
                "Nobody is there to swap now: the chance of a failure is "
                "{with_swaps}, over the limit of {limit}.",
                with_swaps=figure(self.with_swaps, ".1%"),
                limit=figure(self.limit, ".1%"),
            )
        else:
            over = self._over(helped)
        if self.run_until_us is None:
            return over
        hours, minutes = divmod((self.run_until_us - self.begin_us) // 60_000_000, 60)
        parts = (
            ""
            if self.run_until_parts is None
            else sentence(" ({run_until_parts} parts)", run_until_parts=self.run_until_parts)
        )
        return (
            sentence(
                "{over} Stop the machine {hours} h {minutes} min into the "
                "stretch{parts}, or accept {with_swaps}.",
                over=over,
                hours=hours,
                minutes=minutes,
                parts=parts,
                with_swaps=figure(self.with_swaps, ".1%"),
            )
            if hours
            else sentence(
                "{over} Stop the machine {minutes} min into the stretch{parts}, or "
                "accept {with_swaps}.",
                over=over,
                minutes=minutes,
                parts=parts,
                with_swaps=figure(self.with_swaps, ".1%"),
            )
        )

    def _over(self, helped: str) -> str:
        """What keeps the limit from being kept, swaps or not."""
        over: str = (
            sentence(
                "{helped} the chance of a failure is {with_swaps}; even with every edge "
                "fresh that helps it would be {floor} ({breakage} by breakage, which no "
                "swap lowers), over the limit of {limit}.",
                helped=helped,
                with_swaps=figure(self.with_swaps, ".1%"),
                floor=figure(self.floor, ".1%"),
                breakage=figure(self.breakage, ".1%"),
                limit=figure(self.limit, ".1%"),
            )
            if self.floor > self.limit
            else sentence(
                "{helped} the chance of a failure is {with_swaps}, over the limit of {limit}.",
                helped=helped,
                with_swaps=figure(self.with_swaps, ".1%"),
                limit=figure(self.limit, ".1%"),
            )
        )
        if self.left_out:
            over = sentence(
                "{over} Swaps left out: {left_out}; each hardly lowers its own "
                "edge's chance or costs over {dark_price} times the failures that "
                "it prevents.",
                over=over,
                left_out=self.left_out,
                dark_price=figure(DARK_PRICE, ".0f"),
            )
        return over


@dataclass(frozen=True, slots=True)
class NightChoice:
    """What the rule says of all machines in their stretches of one ordinal.

    Attributes:
        swap: Edges to swap before the stretch, shape (edges,).
        before: Chance of a failure as planned, shape (machines,).
        after: The same with the swaps.
        floor: The same with every swap that helps.
        left_out: Swaps that would help a machine that none bring under the limit, but not for
            what they cost, shape (edges,).
    """

    swap: Bools
    before: Floats
    after: Floats
    floor: Floats
    left_out: Bools


def choose_swaps(
    machine: Ints,
    machines: int,
    kept: Floats,
    fresh: Floats,
    given_away: Floats,
    able: Bools,
    limit: float = NIGHT_LIMIT,
    failure_extra: Floats | None = None,
) -> NightChoice:
    """Choose swaps before a stretch, the cheapest per risk removed, until under the limit.

    Where no swaps keep the limit, those remain that help much (``MOST_LEFT``) and are worth
    it (``DARK_PRICE``).

    Args:
        machine: Machine of each edge, shape (edges,).
        machines: How many there are.
        kept: Cumulative hazard of each edge over the stretch if it stays, likewise.
        fresh: The same of a new edge in its place.
        given_away: What swapping it before the stretch costs.
        able: Whether it can be swapped then: in a machine with somebody there before.
        limit: Chance that is allowed.
        failure_extra: What a failure of each costs over a swap; None: not asked.
    """
    count = (machines,)
    relief = np.where(able, np.maximum(kept - fresh, 0.0), 0.0)
    total, off = np.zeros(count), np.zeros(count)
    np.add.at(total, machine, kept)
    np.add.at(off, machine, relief)
    allowed = -math.log1p(-limit) if limit < 1 else math.inf
    need = total - allowed
    over = need > 0
    # a hair of grace, or rounding alone would call a limit that is just kept out of reach
    reachable = over & (off >= need * (1 - 1e-12))
    gain = able & (relief > limit * LEAST_GAIN)
    beyond = gain & (over & ~reachable)[machine]
    swap = beyond & (fresh <= kept * MOST_LEFT)
    if failure_extra is not None:
        swap &= given_away <= DARK_PRICE * failure_extra * relief
    left_out = beyond & ~swap
    rows = np.flatnonzero(reachable[machine] & (relief > 0))
    rows = rows[np.argsort(machine[rows], kind="stable")]
    bounds = np.flatnonzero(np.diff(machine[rows])) + 1
    for members in np.split(rows, bounds):
        if members.size:
            wanted = float(need[machine[members[0]]])
            chosen = _cover(members, given_away, relief, gain, wanted)
            swap[chosen] = True
    left = np.zeros(count)
    np.add.at(left, machine, kept - np.where(swap, relief, 0.0))
    before, after, floor = (-np.expm1(-hazard) for hazard in (total, left, total - off))
    return NightChoice(swap, before, after, floor, left_out)


def _cover(members: Ints, cost: Floats, relief: Floats, gain: Bools, need: float) -> Ints:
    """Leave out swaps that hardly help, unless the limit is out of reach without them."""
    worth = members[gain[members]]
    some = worth if relief[worth].sum() >= need else members
    picked = cheapest_cover(
        np.maximum(cost[some], 0.0).tolist(), relief[some].tolist(), need * (1 - 1e-12)
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
