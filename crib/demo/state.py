"""What the demo's shop is at an instant: tools, machines, runs, racks, and its hours."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from crib.demo.boxes import Box, Stock, Take
from crib.demo.first_offs import StationTruth
from crib.demo.journal import Journal
from crib.demo.machines import MACHINES, OPERATORS, TIME_ZONE, Row, closure_rows, span_rows
from crib.demo.parts import PARTS, Op, holder_type_for, spec_name
from crib.demo.truth import Edge, Truth

#: The simulation goes on in steps of this length.
TICK = timedelta(minutes=10)

#: Places of a rack from here on belong to no tool number.
_FIRST_SPARE_PLACE = 31

CLOSED, UNATTENDED, ATTENDED = 0, 1, 2
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_WEEK_MIN = 7 * 1440


class Hours:
    """What each calendar says of an instant, by the minute of the local week.

    Args:
        first_day: Day on which the shop's history begins; its closure counts from there.
    """

    def __init__(self, first_day: date) -> None:
        self._closed = [
            (str(row["calendar"]), str(row["start"]), str(row["end"]))
            for row in closure_rows(first_day)
        ]
        self._zone = ZoneInfo(TIME_ZONE)
        self._weeks: dict[str, bytearray] = {}
        for row in span_rows():
            week = self._weeks.setdefault(str(row["calendar"]), bytearray(_WEEK_MIN))
            start, end = int(str(row["start"])), int(str(row["end"]))
            first = _DAYS.index(str(row["weekday"])) * 1440 + start
            length = (end - start) % 1440 or 1440
            kind = ATTENDED if row["attended"] else UNATTENDED
            for minute in range(first, first + length):
                week[minute % _WEEK_MIN] = max(week[minute % _WEEK_MIN], kind)

    def local(self, at: datetime) -> datetime:
        """The instant on the shop's own clock."""
        return at.astimezone(self._zone)

    def kind(self, calendar: str, local: datetime) -> int:
        """``CLOSED``, ``UNATTENDED`` or ``ATTENDED``."""
        wall = local.replace(tzinfo=None).isoformat(timespec="minutes")
        if any(name == calendar and start <= wall < end for name, start, end in self._closed):
            return CLOSED
        minute = local.weekday() * 1440 + local.hour * 60 + local.minute
        return self._weeks[calendar][minute]


@dataclass(slots=True)
class Tool:
    """A built tool as people see it, and the hidden state of its edge."""

    holder: str
    holder_type: str
    spec: str
    op: Op
    take: Take
    edge: Edge
    measured: bool = False
    stepped_um: float = 0.0
    checked_at: datetime | None = None


@dataclass(slots=True)
class Run:
    """One run; ``number`` is how the journal calls it."""

    number: int
    part: str
    quantity: int
    start_at: datetime
    begun: bool = False


@dataclass(slots=True)
class Machine:
    """One machine: what runs, what sits in it, what its counter says.

    Attributes:
        total: Parts made since the demo began, with the share of the next one.
        made: Parts made of the run.
        base: Total at which the counter was set to zero last.
        buffer: Readings not reported yet.
        lost_s: Seconds of this step in which it cannot cut.
        stopped_at: Since when it stands because a tool failed; None while it runs.
        changing: Whether people are changing it over to the next run.
        silent_until: Until when its counts do not get through.
    """

    mark: str
    runs: list[Run]
    tools: dict[int, Tool | None] = field(default_factory=dict)
    total: float = 0.0
    made: float = 0.0
    base: int = 0
    buffer: list[tuple[datetime, int]] = field(default_factory=list)
    lost_s: float = 0.0
    stopped_at: datetime | None = None
    changing: bool = False
    silent_until: datetime | None = None
    last_planned_at: datetime | None = None

    @property
    def run(self) -> Run:
        """The run that is on, or comes next."""
        return self.runs[0]

    @property
    def count(self) -> int:
        """What its counter shows."""
        return int(self.total) - self.base

    @property
    def calendar(self) -> str:
        """Name of its calendar."""
        return MACHINES[self.mark].calendar

    def station(self, tool: int) -> str:
        """Mark of a station."""
        return f"{self.mark}/T{tool:02d}"

    def needs(self) -> dict[int, Op]:
        """Operation by tool number that the run wants."""
        return {op.tool: op for op in PARTS[self.run.part].ops}

    def spec(self, op: Op) -> str:
        """Tool spec of an operation here."""
        return spec_name(self.mark, op)

    def holder_type(self, op: Op) -> str:
        """Holder type of an operation here."""
        return holder_type_for(self.mark, op)

    def operator(self, local: datetime) -> str:
        """Badge of who minds it."""
        return OPERATORS[self.mark][0 if local.hour < 14 else 1]


@dataclass(slots=True)
class Job:
    """One piece of bench work; ``tool`` where it is built and wants measuring only."""

    spec: str
    holder_type: str
    op: Op
    urgent: bool
    minutes: float
    tool: Tool | None = None


@dataclass(slots=True)
class Shop:
    """Everything at one instant; the parts of the simulation work on it."""

    at: datetime
    draw: random.Random
    truth: Truth
    stations: StationTruth
    stock: Stock
    journal: Journal
    machines: dict[str, Machine]
    free: dict[str, list[str]]
    hours: Hours
    racks: dict[str, list[Tool]] = field(default_factory=dict)
    jobs: list[Job] = field(default_factory=list)
    habits: dict[str, float] = field(default_factory=dict)
    set_aside: list[Tool] = field(default_factory=list)
    drying: list[Tool] = field(default_factory=list)
    shelved: list[Tool] = field(default_factory=list)
    edges_drawn: int = 0
    runs_planned: int = 0
    places: dict[tuple[str, int], Tool] = field(default_factory=dict)
    slips: list[str] = field(default_factory=list)
    away: list[str] = field(default_factory=list)
    last_check: str = ""

    def rack(self, spec: str) -> list[Tool]:
        """Tools of a spec that stand built outside the machines."""
        return self.racks.setdefault(spec, [])

    def free_place(self, mark: str, tool: Tool) -> int:
        """Give a tool a place of its own in a machine's rack.

        That of its tool number, or one of those at the end where another tool stands there.
        """
        standing = {id(one) for rack in (*self.racks.values(), self.shelved) for one in rack}
        self.places = {
            place: one
            for place, one in self.places.items()
            if id(one) in standing and one is not tool
        }
        numbers = itertools.chain((tool.op.tool,), itertools.count(_FIRST_SPARE_PLACE))
        number = next(one for one in numbers if (mark, one) not in self.places)
        self.places[mark, number] = tool
        return number

    def ready(self, spec: str) -> Tool | None:
        """The measured tool of a spec that stands longest, taken out of the rack."""
        rack = self.rack(spec)
        for place, tool in enumerate(rack):
            if tool.measured:
                return rack.pop(place)
        return None

    def habit(self, spec: str) -> float:
        """Share of a usual life at which the shop changes such a tool, whatever it does.

        A count that somebody wrote on a slip of paper once: it knows the real life badly.
        """
        if spec not in self.habits:
            idea = math.exp(self.draw.gauss(0.0, 0.22))
            self.habits[spec] = min(max(self.draw.uniform(0.65, 0.9) * idea, 0.4), 1.1)
        return self.habits[spec]

    def can_build(self, op: Op, holder_type: str) -> bool:
        """Whether a holder and an edge are at hand."""
        return bool(self.free.get(holder_type)) and self.stock.has_edge(op.item)

    def build(self, op: Op, spec: str, holder_type: str) -> Tool | None:
        """Take a holder and an edge; None where either is missing."""
        holders = self.free.get(holder_type)
        if not holders:
            return None
        take = self.stock.take(op.item)
        if take is None:
            return None
        self.edges_drawn += 1
        edge = self.truth.edge(op.item, take.box.lot, self.edges_drawn)
        return Tool(holders.pop(0), holder_type, spec, op, take, edge)

    def over(self, tool: Tool, *, broken: bool) -> None:
        """A tool came out for good: its holder is free, its piece may serve again."""
        tool.take.box.give_back(tool.take, broken=broken)
        self.free[tool.holder_type].append(tool.holder)

    def settle(self) -> None:
        """End a step: what came out or was measured in it may be taken from now on.

        Within a step things happen at their own seconds, machine by machine: a tool that one
        of them gives up, or the bench finishes, is nobody's before the next step.
        """
        for tool in self.shelved:
            self.rack(tool.spec).append(tool)
        self.shelved.clear()
        for tool in self.drying:
            tool.measured = True
        self.drying.clear()


def boxes_of(rows: list[Row]) -> Stock:
    """The boxes that the shop files name."""
    return Stock(
        sorted(
            (
                Box(str(row["lot"]), str(row["cutting_item"]), int(str(row["quantity"])))
                for row in rows
            ),
            key=lambda box: box.lot,
        )
    )


def free_holders(rows: list[Row]) -> dict[str, list[str]]:
    """Holders in service by type."""
    found: dict[str, list[str]] = {}
    for row in rows:
        kept = found.setdefault(str(row["holder_type"]), [])
        if row["condition"] == "good":
            kept.append(str(row["holder"]))
    return found
