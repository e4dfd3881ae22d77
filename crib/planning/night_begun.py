"""What was run already of an unattended stretch in progress: the chance of it is spent.

A limit is of the whole stretch. Were it counted from now on, each minute that went well would
move the instant at which to stop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.signs import EdgeSigns

#: Rounding alone does not move a look from before a stretch into it [wear units].
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class NightBegun:
    """The part of a machine's stretch that is over.

    Attributes:
        begin_us: Begin of the stretch [µs].
        since_us: Since when nobody was at the machine: its begin, or the last time in it that
            somebody put a tool in or took one out [µs].
        at_us: Instants from ``since_us`` to now, shape (points,) [µs].
        share: Share of the parts since then that was made by each, shape (points,).
        failed: Stations whose edge failed since.
    """

    begin_us: int
    since_us: int
    at_us: Ints
    share: Floats
    failed: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class NightsBegun:
    """The stretches in progress of all machines.

    Attributes:
        of_machine: One per machine; None where none is in progress.
        worn: Wear of each edge since then, shape (edges,); 0 where none is in progress.
        unheard: Part of it by parts that no count told and that its age leaves out, same shape.
    """

    of_machine: tuple[NightBegun | None, ...]
    worn: Floats
    unheard: Floats

    def age_then(self, age: Floats) -> Floats:
        """Age of each edge at the begin of what is over, from its age now."""
        return np.maximum(age + self.unheard - self.worn, 0.0)


def none_begun(machines: int, edges: int) -> NightsBegun:
    """Where no stretch is in progress."""
    return NightsBegun((None,) * machines, np.zeros(edges), np.zeros(edges))


def signs_then(signs: EdgeSigns, age_then: Floats) -> EdgeSigns:
    """What was known of edges at an age, without what was seen of them since."""
    with np.errstate(invalid="ignore"):
        known = ~(signs.seen_at > age_then + _ROUNDING)
    return EdgeSigns(
        signs.lot,
        np.where(known, signs.seen_share, np.nan),
        np.where(known, signs.seen_at, np.nan),
        np.where(known, signs.seen_kind, 0),
        signs.own,
    )
