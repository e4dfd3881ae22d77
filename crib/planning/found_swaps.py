"""What the walk through a horizon finds: swaps in columns, and each stretch looked at."""

from __future__ import annotations

from dataclasses import dataclass

from crib.arrays import Floats, Ints
from crib.life.signs import EdgeSigns
from crib.planning.night import NightChoice


@dataclass(frozen=True, slots=True)
class Events:
    """Swaps in the order in which they were planned; of one station in order of time.

    Attributes:
        row: Edge in the station now, shape (swaps,).
        seconds: Running seconds.
        age: Wear of the edge that comes out.
        why: Place in ``WHYS``.
        stop: Kind of stop joined.
    """

    row: Ints
    seconds: Floats
    age: Floats
    why: Ints
    stop: Ints


@dataclass(frozen=True, slots=True)
class AsLeft:
    """Edges at the end of a stretch, or now, before anything else is swapped.

    Attributes:
        age: Age of each less the wear of its line by then, shape (edges,).
        signs: What is known of each beside.
        events: Places of the swaps found so far.
    """

    age: Floats
    signs: EdgeSigns
    events: int


@dataclass(frozen=True, slots=True)
class NightSeen:
    """The machines' stretches of one ordinal and what was chosen for them.

    Attributes:
        begin_s: Begin of each machine's, NaN where it has none, shape (machines,).
        end_s: End, same shape.
        choice: What the rule says.
        left: The edges as they are if nothing is swapped before it.
        stays_age: Age of each edge at the begin if nothing is swapped before, shape (edges,).
        age: Age of each edge at the begin, due and chosen swaps made, shape (edges,).
        signs: What is known of each beside.
        swaps: Swaps of each before it since the stretch before, due or chosen, same shape.
        stays: Cumulative hazard of each edge over it if nothing is swapped, same shape.
        hazard: The same with the due and chosen swaps made.
        own: The same with the due ones alone.
        breaks: Cumulative hazard of breakage alone, every swap made that helps, same shape.
        spent: Part of each of these that is over, in a stretch in progress, same shape.
    """

    begin_s: Floats
    end_s: Floats
    choice: NightChoice
    left: AsLeft
    stays_age: Floats
    age: Floats
    signs: EdgeSigns
    swaps: Ints
    stays: Floats
    hazard: Floats
    own: Floats
    breaks: Floats
    spent: Floats
