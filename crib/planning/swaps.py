"""When each mounted edge is to be swapped, why, and when its successors are.

Cost first (age replacement), then the size limit; what would fall into an unattended stretch
comes forward to before it; stops are shared where that saves more than it gives away
(``crib.planning.gathering``); then comes what the nights need (``crib.planning.night``).
``crib.planning.succession`` walks through the horizon.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

from crib.planning.stops_ahead import IN_WORDS, OWN

#: Why a swap is when it is; arrays hold the place in this list.
WHYS: Final = (
    "run_ends_first",
    "past",
    "cost",
    "size_limit",
    "unattended_stretch",
    "gathered",
    "run_to_failure",
)
RUN_ENDS_FIRST, PAST, COST, SIZE_LIMIT, UNATTENDED, GATHERED, RUN_TO_FAILURE = range(7)

#: Where so many edges fail before the age of least cost, no swap is planned: each is run until
#: it fails, with its sister ready (common practice, no source).
MOST_FAIL = 0.9

RUN_ENDS = "The runs planned end before this edge has to go."
NOT_THE_DARK = (
    "It will not last the unattended stretch, however fresh: expect the machine to stand, or "
    "split the work."
)
NOBODY_NOW = "It runs out before anybody is there to swap it: expect the machine to stand."
BEFORE_THE_DARK = "Its own point falls where nobody is there; swap it before."


@dataclass(frozen=True, slots=True)
class Swap:
    """One planned swap of one station.

    Attributes:
        seconds: Running second from now; infinite where the plan ends before.
        why: ``past``, ``cost``, ``size_limit``, ``unattended_stretch``, ``gathered``,
            ``run_ends_first`` or ``run_to_failure``.
        sentence: The same in words, with the figures.
        age: Wear of the edge when it comes out [wear units].
    """

    seconds: float
    why: str
    sentence: str
    age: float


@dataclass(frozen=True, slots=True)
class StationPlan:
    """The next swap of one station.

    Attributes:
        first: Swap of the edge that is mounted now.
        parts: Parts that it still cuts until then, counted in parts like the next one, as
            ``EdgesDue.parts_left`` is; infinite where no plan wears it.
        swap_age: Wear at which an edge like it costs least [wear units].
        failing_first: Share of like edges that fail before that age.
        step_parts: A quarter of a planned life in parts; infinite where nothing wears it.
        cost_if_earlier: Expected cost, beside the plan, of swapping that many parts earlier
            (now, where the plan is nearer); None where it is due now or never.
        cost_if_later: The same that many parts later; below 0 where the edge alone would
            rather wait, and the night, another stop or want of worn edges of its kind does
            not let it.
        size_sets: Whether the size limit sets its own point.
    """

    first: Swap
    parts: float
    swap_age: float
    failing_first: float
    step_parts: float = math.inf
    cost_if_earlier: float | None = None
    cost_if_later: float | None = None
    size_sets: bool = False


class Figures(NamedTuple):
    """What a sentence says of a mounted edge.

    Attributes:
        used: Its wear now [wear units].
        best: Age of least cost.
        failing: Share of such edges that fail before it.
        own_parts: Parts until its own point, or until the last moment before it at which
            somebody is there.
        parts: Parts until it comes out.
        size_parts: Parts until the wear limit, where size corrections set its point; infinite
            where they only show that it wears faster than its kind.
        dark: Whether its own point falls where nobody is there.
        unseen: Whether its point is held back because no edge of its kind was seen worn.
    """

    used: float
    best: float
    failing: float
    own_parts: float
    parts: float
    size_parts: float | None
    dark: bool = False
    unseen: bool = False


def sentence_of_first(why: int, stop: int, of: Figures) -> str:
    """Why a mounted edge comes out when it does, in one sentence with the figures.

    Args:
        why: Place in ``WHYS``.
        stop: Kind of stop that it joins.
        of: The figures.
    """
    if why == GATHERED:
        return _sentence_of_gathered(stop, of)
    if why in (PAST, SIZE_LIMIT) and of.size_parts is not None:
        if math.isinf(of.size_parts):
            return (
                "Size corrections show it wearing faster than its kind: from "
                f"{of.best:.2f} of the promised life on the risk costs more than a fresh edge, "
                f"and it has used {of.used:.2f}."
            )
        limit = (
            "Size corrections so far put the wear limit about "
            f"{math.floor(of.size_parts)} parts ahead"
            if of.size_parts >= 1
            else "Size corrections so far say that the wear limit is reached"
        )
        if why == PAST:
            return f"{limit}: by its own odds the edge is due now."
        if of.parts < of.size_parts - 1:
            return (
                f"{limit}; from {of.parts:.0f} parts on the risk costs more than a fresh edge."
            )
        return f"{limit}."
    if why == PAST:
        return (
            f"It has used {of.used:.2f} of the promised life; {of.best:.2f} was the age of "
            "least cost."
        )
    if why == COST and of.unseen:
        return (
            "No edge of its kind was seen worn yet, so that its point creeps: "
            f"{of.best:.2f} of the promised life for now, though by its odds a later swap "
            "would cost less."
        )
    if why in (COST, SIZE_LIMIT):
        return (
            f"From {of.best:.2f} of the promised life on, the risk costs more than a fresh "
            f"edge ({of.failing:.0%} of such edges fail before)."
        )
    if why == RUN_TO_FAILURE:
        return (
            "Run it until it fails: swapping it early would cost more "
            f"({of.failing:.0%} of such edges fail before it would pay)."
        )
    return BEFORE_THE_DARK if why == UNATTENDED else RUN_ENDS


def _sentence_of_gathered(stop: int, of: Figures) -> str:
    own, out = math.floor(of.own_parts), math.floor(of.parts)
    point = (
        f"Its own point falls where nobody is there, so that it is due after {own} parts"
        if of.dark
        else f"Its own point is after {own} parts"
    )
    if own == out:
        return f"{point}; it joins {IN_WORDS[stop]} just before, which saves a stop."
    return (
        f"{point}; {own - out} parts earlier it joins {IN_WORDS[stop]}, which saves more "
        "than they are worth."
    )


def sentence_of_successor(why: int, stop: int, best: float, age: float) -> str:
    """The same for a swap after the first.

    Args:
        why: Place in ``WHYS``.
        stop: Kind of stop that it joins.
        best: Age of least cost of a new edge [wear units].
        age: Wear of the edge that comes out.
    """
    if why == UNATTENDED:
        return BEFORE_THE_DARK if age < best else NOT_THE_DARK
    used = f"The edge that comes out will have used {age:.2f} of its promised life"
    if why == GATHERED and stop != OWN:
        return f"{used}, {best:.2f} being the age of least cost; it joins {IN_WORDS[stop]}."
    return f"{used}, the age of least cost."
