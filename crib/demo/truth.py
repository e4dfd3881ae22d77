"""How edges of the invented shop really wear and break; nothing of the predictor is used.

Its own laws with its own numbers: a worn land that runs in fast, grows steadily and runs away
at the end; a speed-life law per tool material and group; a factor for each item and group
that nobody in the shop knows; boxes that differ; chipping that comes more often when blunt.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Final

from crib.demo.items import ITEMS
from crib.demo.machines import MACHINES
from crib.demo.parts import PARTS, Op

#: Speed at which an edge lasts an hour of cutting at 0.06 mm/rev [m/min], and by which power
#: its life falls with speed. A shop that runs nights with nobody there cuts so that its edges
#: hold several of them (common practice, no source): the shortest lives here are 44 hours of
#: running in hardened steel, 50 in titanium, 70 to 100 elsewhere.
_HOUR_SPEED: Final = {
    ("DC11-04-M", "M"): (202.0, 4.5),
    ("VC11-02-M", "M"): (219.0, 4.2),
    ("GRV-10-M", "M"): (69.4, 4.5),
    ("PART-20-M", "M"): (105.0, 4.9),
    ("DRILL-1.0", "M"): (27.3, 3.8),
    ("SPOT-6", "M"): (50.9, 4.3),
    ("DRILL-2.5", "M"): (81.1, 3.6),
    ("DRILL-1.6", "M"): (41.5, 4.1),
    ("CC06-02-M", "M"): (129.0, 4.4),
    ("DC11-04-P", "P"): (419.0, 3.8),
    ("VC11-02-P", "P"): (373.0, 3.5),
    ("GRV-10-P", "P"): (107.0, 4.0),
    ("PART-20-P", "P"): (147.0, 3.6),
    ("MILL-3", "P"): (115.0, 3.7),
    ("DRILL-2.5", "P"): (112.0, 3.5),
    ("SPOT-6", "P"): (69.4, 4.2),
    ("THR-16-P", "P"): (113.0, 3.8),
    ("MILL-6", "P"): (150.0, 3.5),
    ("DRILL-4.2", "P"): (103.0, 3.7),
    ("TAP-M5", "P"): (13.0, 3.7),
    ("DRILL-3.3", "P"): (94.3, 4.2),
    ("CC06-02-P", "P"): (180.0, 4.0),
    ("DC11-04-N", "N"): (1110.0, 2.4),
    ("VC11-02-N", "N"): (721.0, 3.1),
    ("GRV-15-N", "N"): (206.0, 2.4),
    ("PART-20-P", "N"): (326.0, 3.1),
    ("DRILL-1.6", "N"): (98.0, 3.1),
    ("SPOT-6", "N"): (127.0, 2.6),
    ("DRILL-5.0", "N"): (241.0, 3.1),
    ("REAM-5H7", "N"): (170.0, 2.9),
    ("CC06-02-N", "N"): (408.0, 2.4),
    ("DC11-04-S", "S"): (111.0, 4.3),
    ("VC11-02-S", "S"): (105.0, 3.8),
    ("PART-20-M", "S"): (47.7, 4.3),
    ("MILL-3", "S"): (53.6, 4.1),
    ("SAW-08", "S"): (61.0, 4.8),
    ("DRILL-2.5", "S"): (31.5, 4.6),
    ("CC06-02-M", "S"): (56.4, 3.8),
    ("DRILL-4.2", "M"): (88.9, 3.8),
    ("TAP-M5", "M"): (10.5, 4.6),
    ("DRILL-5.0", "M"): (78.8, 3.9),
    ("PART-25-K", "N"): (336.0, 3.3),
    ("DRILL-3.3", "N"): (121.0, 2.4),
    ("MILL-6", "N"): (340.0, 2.4),
    ("DRILL-8.5", "N"): (362.0, 2.4),
    ("TAP-M4", "N"): (22.0, 3.4),
    ("DC11-04-K", "K"): (507.0, 2.9),
    ("VC11-04-K", "K"): (416.0, 2.9),
    ("PART-25-K", "K"): (240.0, 3.1),
    ("DRILL-3.3", "K"): (110.0, 3.1),
    ("SPOT-6", "K"): (112.0, 3.3),
    ("DRILL-8.5", "K"): (185.0, 3.3),
    ("CC06-04-K", "K"): (403.0, 3.6),
    ("DRILL-5.0", "P"): (81.8, 4.2),
    ("DC11-04-H", "H"): (311.0, 2.8),
    ("GRV-10-P", "H"): (30.4, 4.3),
    ("PART-20-P", "H"): (49.3, 3.6),
    ("DRILL-5.0", "H"): (20.1, 5.0),
    ("DC07-02-P", "P"): (125.0, 3.6),
    ("PART-15-P", "P"): (99.7, 3.3),
    ("DRILL-1.0", "P"): (38.1, 4.2),
    ("DC07-02-N", "N"): (299.0, 2.6),
    ("PART-15-N", "N"): (186.0, 2.4),
    ("MILL-3", "N"): (169.0, 3.1),
    ("DRILL-2.5", "N"): (106.0, 2.6),
}
_FEED_POWER: Final = 0.65
_USUAL_FEED: Final = 0.06

#: Spread of what nobody knows: per item and group, per box, per edge (all on log scale).
_ITEM_SPREAD: Final = 0.12
_LOT_SPREAD: Final = 0.10
_EDGE_SPREAD: Final = 0.20

#: Lives of steady cutting after which a sharp edge chips, on average: one in thirty.
_LIVES_PER_CHIP: Final = 30.0
#: From this share of its life on an edge chips easily, then within so many lives on average.
_BLUNT_FROM: Final = 0.9
_LIVES_PER_BLUNT_CHIP: Final = 0.9


def minutes_in_cut(op: Op, rpm_most: float) -> tuple[float, float]:
    """Minutes in cut per part, and the real cutting speed [m/min]."""
    across = op.kind in ("groove", "part_off", "face")
    diameter = max(op.start or 0.0, op.end or 0.0)
    if across:  # the speed falls towards the centre; the mean tells enough
        diameter = (diameter + (op.end or 0.0)) / 2 or 1.0
    rpm = min(op.speed * 1000 / (math.pi * diameter), rpm_most)
    way = abs((op.start or 0.0) - (op.end or 0.0)) / 2 if across else (op.length or 0.0)
    passes = op.passes if op.kind in ("turn", "bore", "thread") else 1
    return passes * way / (op.feed * rpm), rpm * math.pi * diameter / 1000


@dataclass(slots=True)
class Edge:
    """What an edge is really like; nobody in the shop can read this.

    Attributes:
        stands: Lives of the usual edge that it lasts if nothing chips.
        chips_at: Lives of the usual edge after which it chips or breaks.
        breaks: Whether that is a break (the piece is gone) or a chip.
        used: Lives of the usual edge that it has behind it.
    """

    stands: float
    chips_at: float
    breaks: bool
    used: float = 0.0

    @property
    def spent(self) -> float:
        """Share of its own wear life that it has behind it."""
        return self.used / self.stands

    @property
    def failed(self) -> bool:
        """Whether it makes bad parts, or none."""
        return self.used >= min(self.stands, self.chips_at)

    @property
    def chipped(self) -> bool:
        """Whether it gave out by chipping or breaking rather than by wear."""
        return self.used >= self.chips_at and self.chips_at < self.stands

    def land(self, limit_mm: float) -> float:
        """Worn land [mm] where ``limit_mm`` is the end: runs in, grows, runs away."""
        spent = self.spent
        run_in = 0.22 * (1 - math.exp(-spent / 0.05))
        away = 0.16 * math.exp((min(spent, 1.25) - 1) / 0.09)
        return limit_mm * (run_in + 0.62 * spent + away)


class Truth:
    """Draws edges and knows what a part takes from them.

    Args:
        seed: Same seed, same shop.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._per_part: dict[tuple[str, int], float] = {}

    def _factor(self, what: str, spread: float) -> float:
        return math.exp(random.Random(f"{self._seed}/{what}").gauss(0.0, spread))

    def per_part(self, part: str, tool: int) -> float:
        """Lives of the usual edge that one part takes from the edge under a tool number."""
        known = self._per_part.get((part, tool))
        if known is None:
            known = sum(self._op(part, op) for op in PARTS[part].ops if op.tool == tool)
            self._per_part[part, tool] = known
        return known

    def _op(self, part: str, op: Op) -> float:
        made = PARTS[part]
        rpm_most = MACHINES[made.machine].rpm
        if 7 <= op.tool <= 9:
            rpm_most = min(rpm_most, 4_000.0 if op.kind == "saw" else 8_000.0)
        minutes, speed = minutes_in_cut(op, rpm_most)
        hour_speed, power = _HOUR_SPEED[op.item, made.group]
        feed = _USUAL_FEED if op.kind in ("thread", "tap") else op.feed
        life_min = 60 * math.pow(hour_speed / speed, power)
        life_min *= math.pow(_USUAL_FEED / feed, _FEED_POWER)
        return minutes / (life_min * self._factor(f"{op.item}/{made.group}", _ITEM_SPREAD))

    def edge(self, item: str, lot: str, number: int) -> Edge:
        """A fresh edge out of a box; ``number`` tells one from another."""
        draw = random.Random(f"{self._seed}/{item}/{lot}/{number}")
        stands = math.exp(draw.gauss(0.0, _EDGE_SPREAD)) * self._factor(lot, _LOT_SPREAD)
        sharp = draw.expovariate(1 / _LIVES_PER_CHIP)
        blunt = _BLUNT_FROM * stands + draw.expovariate(1 / _LIVES_PER_BLUNT_CHIP)
        breaks = draw.random() < (0.5 if ITEMS[item].kind == "round" else 0.08)
        return Edge(stands, min(sharp, blunt), breaks)
