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
class NightSeen:
    """The machines' stretches of one ordinal and what was chosen for them.

    Attributes:
        begin_s: Begin of each machine's, NaN where it has none, shape (machines,).
        end_s: End likewise.
        choice: What the rule says.
        age: Age of each edge at the begin, chosen swaps made, shape (edges,).
        signs: What is known of each beside.
        hazard: Cumulative hazard of each edge over it, likewise.
        own: The same had it stayed.
        breaks: Cumulative hazard of breakage alone, every swap made that helps, likewise.
    """

    begin_s: Floats
    end_s: Floats
    choice: NightChoice
    age: Floats
    signs: EdgeSigns
    hazard: Floats
    own: Floats
    breaks: Floats
