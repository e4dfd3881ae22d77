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
from crib.sentence import figure, sentence

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

RUN_ENDS = sentence("The planned runs end before this edge has to be swapped.")
NOT_THE_DARK = sentence(
    "It will not last the unattended stretch, however fresh: expect the machine to "
    "stand, or split the work."
)
NOBODY_NOW = sentence(
    "It runs out before anybody is there to swap it: expect the machine to stand."
)
BEFORE_THE_DARK = sentence("Due while nobody is there. Swap it before.")


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
        dark: Whether its own swap point falls into unattended time.
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
            return sentence(
                "Size corrections show that it wears faster than its kind. Past {best} "
                "of the expected life the risk costs more than a fresh edge; it is at "
                "{used}.",
                best=figure(of.best, ".2f"),
                used=figure(of.used, ".2f"),
            )
        limit = (
            sentence(
                "Size corrections so far put the wear limit about {floor} parts ahead",
                floor=math.floor(of.size_parts),
            )
            if of.size_parts >= 1
            else sentence("Size corrections so far say that the wear limit is reached")
        )
        if why == PAST:
            return sentence("{limit}: the edge is due now.", limit=limit)
        if of.parts < of.size_parts - 1:
            return sentence(
                "{limit}; from {parts} parts on the risk costs more than a fresh edge.",
                limit=limit,
                parts=figure(of.parts, ".0f"),
            )
        return limit + "."
    if why == PAST:
        return sentence(
            "At {used} of its expected life. Best swapped at {best}.",
            used=figure(of.used, ".0%"),
            best=figure(of.best, ".0%"),
        )
    if why == COST and of.unseen:
        return sentence(
            "No edge of its kind has been seen worn yet, so its swap point moves "
            "out slowly: {best} of the expected life for now. A later swap would "
            "probably cost less.",
            best=figure(of.best, ".2f"),
        )
    if why in (COST, SIZE_LIMIT):
        return sentence(
            "Past {best} of its expected life, the risk costs more than a fresh "
            "edge ({failing} of such edges fail before).",
            best=figure(of.best, ".2f"),
            failing=figure(of.failing, ".0%"),
        )
    if why == RUN_TO_FAILURE:
        return sentence(
            "Run it until it fails: swapping it early would cost more ({failing} of "
            "such edges fail before it would pay).",
            failing=figure(of.failing, ".0%"),
        )
    return BEFORE_THE_DARK if why == UNATTENDED else RUN_ENDS


def _sentence_of_gathered(stop: int, of: Figures) -> str:
    own, out = math.floor(of.own_parts), math.floor(of.parts)
    point = (
        sentence(
            "Due while nobody is there, so swap it after {own} parts",
            own=own,
        )
        if of.dark
        else sentence("Its own swap point is after {own} parts", own=own)
    )
    if own == out:
        return sentence(
            "{point}. Swapping it with {in_words} just before saves a stop.",
            point=point,
            in_words=IN_WORDS[stop],
        )
    return sentence(
        "{point}. Swapping it {own} parts earlier with {in_words} saves more "
        "than those parts are worth.",
        point=point,
        own=own - out,
        in_words=IN_WORDS[stop],
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
    used = sentence(
        "The edge that comes out will have used {age} of its expected life",
        age=figure(age, ".2f"),
    )
    if why == GATHERED and stop != OWN:
        return sentence(
            "{used}. {best} would cost least, but swapping it with {in_words} saves a stop.",
            used=used,
            best=figure(best, ".2f"),
            in_words=IN_WORDS[stop],
        )
    return sentence("{used}: that costs least.", used=used)
